//! Ids that know whose they are: a tank's id cannot be handed in where a room's is wanted.

use std::cmp::Ordering;
use std::fmt;
use std::hash::{Hash, Hasher};
use std::marker::PhantomData;

use uuid::Uuid;

/// The id of one record of the word `W` (UUID version 7, so ids sort by creation).
pub struct Id<W>(Uuid, PhantomData<fn() -> W>);

impl<W> Id<W> {
    /// The id with this value.
    pub const fn new(value: Uuid) -> Self {
        Self(value, PhantomData)
    }

    /// The bare value, for the edges: rows, JSON and paths.
    pub const fn uuid(self) -> Uuid {
        self.0
    }
}

impl<W> Clone for Id<W> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<W> Copy for Id<W> {}

impl<W> PartialEq for Id<W> {
    fn eq(&self, other: &Self) -> bool {
        self.0 == other.0
    }
}

impl<W> Eq for Id<W> {}

impl<W> PartialOrd for Id<W> {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl<W> Ord for Id<W> {
    fn cmp(&self, other: &Self) -> Ordering {
        self.0.cmp(&other.0)
    }
}

impl<W> Hash for Id<W> {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.0.hash(state);
    }
}

impl<W> fmt::Debug for Id<W> {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(out)
    }
}

impl<W> fmt::Display for Id<W> {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(out)
    }
}

impl<W> From<Uuid> for Id<W> {
    fn from(value: Uuid) -> Self {
        Self::new(value)
    }
}
