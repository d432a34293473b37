//! Words that have no content here yet: work needs only their ids. Each moves to its own module with it.

/// A site, for ids.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Site {}

/// A room of a site, for ids.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Room {}

/// A tank of a site, for ids.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tank {}

/// A person of the business, for ids.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Person {}

/// A reading, for ids.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reading {}

/// A calibration of a meter, for ids.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Calibration {}

/// What an inspection found, for ids.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Inspection {}
