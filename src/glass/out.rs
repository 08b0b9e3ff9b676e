//! The glazed picture as a PNG file, written row by row so that it never stands whole in memory.

use std::{
    borrow::Cow,
    cell::RefCell,
    io::{self, Write},
    rc::Rc,
};

use moxcms::ColorProfile;

use crate::{Error, Result, colour::ScreenSpace, scan::profile::bytes_of};

/// What has been written and not yet taken.
#[derive(Debug, Clone, Default)]
struct Sink(Rc<RefCell<Vec<u8>>>);

impl Write for Sink {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.borrow_mut().extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

/// A PNG file being written.
pub struct PngOut {
    sink: Sink,
    rows: png::StreamWriter<'static, Sink>,
}

pub(super) fn failed(error: impl std::fmt::Display) -> Error {
    Error::Outside {
        what: "The picture",
        doing: "could not be written",
        reason: error.to_string(),
    }
}

impl PngOut {
    /// Begins a picture of R, G, B with the profile of a space; 16 bits a channel, or 8.
    ///
    /// # Errors
    /// [`Error::Outside`] for a size that PNG cannot hold.
    pub fn new(width: usize, height: usize, sixteen: bool, space: ScreenSpace) -> Result<Self> {
        let profile = match space {
            ScreenSpace::Srgb => ColorProfile::new_srgb(),
            ScreenSpace::DisplayP3 => ColorProfile::new_display_p3(),
        };
        Self::with_profile(width, height, sixteen, &profile)
    }

    /// The same with any profile.
    ///
    /// # Errors
    /// As [`Self::new`].
    pub fn with_profile(
        width: usize,
        height: usize,
        sixteen: bool,
        profile: &ColorProfile,
    ) -> Result<Self> {
        let sink = Sink::default();
        let mut info = png::Info::with_size(
            u32::try_from(width).map_err(failed)?,
            u32::try_from(height).map_err(failed)?,
        );
        info.color_type = png::ColorType::Rgb;
        info.bit_depth = if sixteen {
            png::BitDepth::Sixteen
        } else {
            png::BitDepth::Eight
        };
        info.icc_profile = Some(Cow::Owned(bytes_of(profile).map_err(failed)?));
        let mut encoder = png::Encoder::with_info(sink.clone(), info).map_err(failed)?;
        // Painted surfaces have grain, which hardly packs whatever time is spent on it.
        encoder.set_compression(png::Compression::Fast);
        let rows = encoder
            .write_header()
            .and_then(png::Writer::into_stream_writer)
            .map_err(failed)?;
        Ok(Self { sink, rows })
    }

    /// Writes whole rows. Gives the bytes of the file that are ready.
    ///
    /// # Errors
    /// [`Error::Outside`] for more rows than the picture has.
    pub fn rows(&mut self, rows: &[u8]) -> Result<Vec<u8>> {
        self.rows.write_all(rows).map_err(failed)?;
        Ok(std::mem::take(&mut *self.sink.0.borrow_mut()))
    }

    /// Ends the file. Gives its last bytes.
    ///
    /// # Errors
    /// [`Error::Outside`] where rows are missing.
    pub fn end(self) -> Result<Vec<u8>> {
        self.rows.finish().map_err(failed)?;
        Ok(std::mem::take(&mut *self.sink.0.borrow_mut()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scan::{Pixels, decode::decode};

    /// What is written comes back through the decoder, pixel by pixel, and its profile is the space's own.
    #[test]
    fn a_written_picture_comes_back() {
        for (sixteen, space, name) in [
            (false, ScreenSpace::Srgb, "sRGB"),
            (true, ScreenSpace::DisplayP3, "P3"),
        ] {
            let bytes: Vec<u8> = (0..40 * 30 * 3 * if sixteen { 2 } else { 1 })
                .map(|i| (i * 7 % 251) as u8)
                .collect();
            let mut out = PngOut::new(40, 30, sixteen, space).unwrap();
            let mut file = Vec::new();
            for rows in bytes.chunks(bytes.len() / 6) {
                file.extend(out.rows(rows).unwrap());
            }
            file.extend(out.end().unwrap());
            let back = decode(&file, "out.png").unwrap();
            assert!(back.origin.profile.contains(name) && !back.origin.profile_assumed);
            match back.pixels {
                Pixels::Eight(values) => assert_eq!(values, bytes),
                Pixels::Sixteen(values) => {
                    let written = bytes
                        .as_chunks::<2>()
                        .0
                        .iter()
                        .map(|b| u16::from_be_bytes(*b));
                    assert!(values.into_iter().eq(written));
                }
            }
            let rows = space.to_xyz();
            for (i, row) in back.profile.to_xyz().iter().enumerate() {
                for (j, value) in row.iter().enumerate() {
                    assert!(
                        (value - rows[i][j]).abs() < 1e-3,
                        "{name} {i} {j}: {value} {}",
                        rows[i][j]
                    );
                }
            }
        }
    }
}
