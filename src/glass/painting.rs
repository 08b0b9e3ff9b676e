//! The painting as photographed or scanned: every pixel in one coding, whatever the file was in.
//!
//! Three channels of 16 bits with sRGB's curve over values that add up as light does (the file's own linear red, green and
//! blue, or XYZ where its profile is a table). One matrix then says what they are in XYZ, and exposure and white are part of
//! that matrix, so that setting them touches no pixel.

use std::sync::OnceLock;

use crate::{
    Error, Result,
    colour::{self, Xyz},
    error::megapixels_words,
    scan::{Pixels, Profile, Scan},
};

/// Most megapixels of a painting.
pub const MOST_MEGAPIXELS: usize = 60;

/// A painting, upright, rows from the top.
#[derive(Debug, Clone)]
pub struct Painting {
    /// Pixels across.
    pub width: usize,
    /// Pixels down.
    pub height: usize,
    /// Coded channels, three a pixel.
    pub codes: Vec<u16>,
    /// Rows X, Y, Z: decoded channels to XYZ, as the file says.
    pub to_xyz: [[f64; 3]; 3],
    /// Whether the channels are X, Y, Z and not the file's own.
    pub in_xyz: bool,
}

/// Linear value of every code (IEC 61966-2-1 over 16 bits).
fn linear_by_code() -> &'static [f32] {
    static LINEAR: OnceLock<Vec<f32>> = OnceLock::new();
    LINEAR.get_or_init(|| {
        (0..=u16::MAX)
            .map(|code| colour::decode_srgb(f64::from(code) / 65535.0) as f32)
            .collect()
    })
}

/// The linear value of a code, 0 to 1.
#[inline]
pub fn linear_of(code: u16) -> f64 {
    f64::from(linear_by_code()[usize::from(code)])
}

/// The code of a linear value; below 0 counts as 0, above 1 as 1.
#[inline]
pub fn code_of(linear: f64) -> u16 {
    (colour::encode_srgb(linear.clamp(0.0, 1.0)) * 65535.0 + 0.5) as u16
}

/// The same within half a step of 12 bits, for pixels that are only looked at.
#[inline]
pub fn code_quick(linear: f64) -> u16 {
    static CODES: OnceLock<Vec<u16>> = OnceLock::new();
    const STEPS: f64 = 4096.0;
    let codes = CODES.get_or_init(|| {
        (0..=STEPS as usize)
            .map(|i| code_of((i as f64 / STEPS) * (i as f64 / STEPS)))
            .collect()
    });
    codes[(linear.clamp(0.0, 1.0).sqrt() * STEPS + 0.5) as usize]
}

/// What is said of a picture of so many megapixels, more than can lie under glass.
pub fn too_large(megapixels: u64) -> Error {
    Error::Refused(format!(
        "The picture has {} megapixels; at most {MOST_MEGAPIXELS} can lie under glass. Save it smaller and try again.",
        megapixels_words(megapixels)
    ))
}

impl Painting {
    /// Recodes a decoded picture.
    ///
    /// # Errors
    /// [`Error::Refused`] above [`MOST_MEGAPIXELS`].
    pub fn of(scan: Scan) -> Result<Self> {
        let Scan {
            width,
            height,
            pixels,
            profile,
            ..
        } = scan;
        if width * height > MOST_MEGAPIXELS * 1_000_000 {
            return Err(too_large((width * height).div_ceil(1_000_000) as u64));
        }
        let in_xyz = !profile.additive_is_device();
        let (codes, to_xyz) = if !in_xyz {
            (by_channel(pixels, &profile), profile.to_xyz())
        } else {
            let white = colour::WHITE;
            let rows = std::array::from_fn(|i| {
                std::array::from_fn(|j| if i == j { white[i] } else { 0.0 })
            });
            (by_pixel(pixels, &profile), rows)
        };
        Ok(Self {
            width,
            height,
            codes,
            to_xyz,
            in_xyz,
        })
    }

    /// Codes of one pixel.
    #[inline]
    pub fn code(&self, x: usize, y: usize) -> [u16; 3] {
        let i = 3 * (y * self.width + x);
        [self.codes[i], self.codes[i + 1], self.codes[i + 2]]
    }

    /// XYZ of codes, with this matrix or one set by exposure and white.
    pub fn xyz(to_xyz: &[[f64; 3]; 3], code: [u16; 3]) -> Xyz {
        let linear = code.map(linear_of);
        let [x, y, z] =
            to_xyz.map(|row| row[0] * linear[0] + row[1] * linear[1] + row[2] * linear[2]);
        Xyz::new(x, y, z)
    }

    /// Size of a copy of a picture within [`MOST_MEGAPIXELS`], no longer than `most` pixels either way.
    pub fn size_within(size: [usize; 2], most: usize) -> [usize; 2] {
        let longest = size[0].max(size[1]);
        if longest <= most {
            return size;
        }
        // In the browser a place is 32 bits.
        let (longest, most) = (longest as u64, most as u64);
        size.map(|n| ((n as u64 * most + longest / 2) / longest).max(1) as usize)
    }

    /// A smaller copy, no longer than `most` pixels either way, averaged where light adds up. A picture that is not longer
    /// comes back as it is.
    pub fn reduced(&self, most: usize) -> Self {
        if self.width.max(self.height) <= most {
            return self.clone();
        }
        let [width, height] = Self::size_within([self.width, self.height], most);
        let linear = linear_by_code();
        let mut codes = Vec::with_capacity(3 * width * height);
        let mut sums = vec![[0.0_f32; 3]; width];
        for y in 0..height {
            let (top, bottom) = (
                y * self.height / height,
                ((y + 1) * self.height / height).max(y * self.height / height + 1),
            );
            sums.iter_mut().for_each(|sum| *sum = [0.0; 3]);
            for row in top..bottom {
                let row = &self.codes[3 * row * self.width..][..3 * self.width];
                for (x, sum) in sums.iter_mut().enumerate() {
                    let (left, right) = (x * self.width / width, (x + 1) * self.width / width);
                    for pixel in row[3 * left..3 * right].as_chunks::<3>().0 {
                        for c in 0..3 {
                            sum[c] += linear[usize::from(pixel[c])];
                        }
                    }
                }
            }
            for (x, sum) in sums.iter().enumerate() {
                let across = (x + 1) * self.width / width - x * self.width / width;
                let share = 1.0 / (across * (bottom - top)) as f32;
                codes.extend(sum.map(|v| code_quick(f64::from(v * share))));
            }
        }
        Self {
            width,
            height,
            codes,
            to_xyz: self.to_xyz,
            in_xyz: self.in_xyz,
        }
    }
}

fn by_channel(pixels: Pixels, profile: &Profile) -> Vec<u16> {
    let recode = |code: u16| profile.additive_of([code; 3]).map(code_of);
    match pixels {
        Pixels::Eight(values) => {
            let table: Vec<[u16; 3]> = (0..=255).map(|v| recode(257 * v)).collect();
            let mut codes = Vec::with_capacity(values.len());
            for pixel in values.as_chunks::<3>().0 {
                codes.extend([0, 1, 2].map(|c| table[usize::from(pixel[c])][c]));
            }
            codes
        }
        Pixels::Sixteen(mut values) => {
            let table: Vec<[u16; 3]> = (0..=u16::MAX).map(recode).collect();
            for pixel in values.as_chunks_mut::<3>().0 {
                *pixel = [0, 1, 2].map(|c| table[usize::from(pixel[c])][c]);
            }
            values
        }
    }
}

fn by_pixel(pixels: Pixels, profile: &Profile) -> Vec<u16> {
    let recode = |code: [u16; 3]| {
        let xyz = profile.additive_of(code);
        [0, 1, 2].map(|i| code_of(xyz[i] / colour::WHITE[i]))
    };
    match pixels {
        Pixels::Eight(values) => {
            let pixels = values.as_chunks::<3>().0;
            let mut codes = Vec::with_capacity(values.len());
            let mut last = ([0; 3], recode([0; 3]));
            for pixel in pixels {
                if *pixel != last.0 {
                    last = (*pixel, recode(pixel.map(|v| 257 * u16::from(v))));
                }
                codes.extend(last.1);
            }
            codes
        }
        Pixels::Sixteen(mut values) => {
            for pixel in values.as_chunks_mut::<3>().0 {
                *pixel = recode(*pixel);
            }
            values
        }
    }
}
