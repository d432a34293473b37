//! The rooms, the arrows between them, the size of files, and the document that must not drift.

mod arrows;
mod document;
mod licences;
mod readme;
mod size;
