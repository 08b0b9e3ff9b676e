//! A known paint: its constants, what they mean for a painter, and the record that is kept.

pub mod file;
pub mod verdict;

pub use file::Record;
