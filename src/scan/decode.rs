//! Bytes of a file to an upright picture at full depth.

use crate::{Result, scan::Scan};

/// Most pixels that are read at 8 bits a channel, in millions.
pub const LIMIT_EIGHT: u64 = 150;
/// Most pixels that are read at 16 bits a channel, in millions.
pub const LIMIT_SIXTEEN: u64 = 80;

/// Decodes a PNG, JPEG or TIFF file.
pub fn decode(_bytes: &[u8], _file_name: &str) -> Result<Scan> {
    todo!()
}
