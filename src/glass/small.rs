//! A reduced copy of the painting as a file, for where there is no room to hold the painting itself.
//!
//! Its pixels are in the painting's own coding and its profile says so, so that places of known colour, whose channels were
//! taken from the painting, hold for the copy as they are, and the other way round.

use std::io::Cursor;

use image::{ExtendedColorType, ImageEncoder, codecs::jpeg::JpegEncoder};
use moxcms::{ColorProfile, LocalizableString, ProfileText, Xyzd};

use super::{
    out::{self, PngOut},
    painting::{MOST_MEGAPIXELS, Painting},
};
use crate::{Result, scan::profile::bytes_of};

/// Most pixels along the longer side.
const LONGEST: usize = 1600;
/// The same where eight bits do not do.
const LONGEST_FINE: usize = 1000;
/// Of JPEG, in hundredths. At 92 the copy of a grainy picture is a tenth of its pixels’ bytes (see the test).
const QUALITY: u8 = 92;

fn longest(painting: &Painting) -> usize {
    if painting.in_xyz {
        LONGEST_FINE
    } else {
        LONGEST
    }
}

/// Whether a picture of this size can be the copy of a larger one.
pub fn is_copy(size: [usize; 2], whole: [usize; 2]) -> bool {
    let most = MOST_MEGAPIXELS * 1_000_000;
    let possible = whole[0]
        .checked_mul(whole[1])
        .is_some_and(|n| (1..=most).contains(&n));
    possible
        && [LONGEST, LONGEST_FINE]
            .map(|most| Painting::size_within(whole, most))
            .contains(&size)
}

/// The copy as a file that is read like any other: JPEG, or PNG of 16 bits where the channels are X, Y, Z, whose steps of
/// eight bits could be seen. Without a profile where the painting had none.
///
/// # Errors
/// [`crate::Error::Outside`] where it cannot be written.
pub fn file(painting: &Painting, profile_assumed: bool) -> Result<Vec<u8>> {
    let copy = painting.reduced(longest(painting));
    if painting.in_xyz {
        let mut out = PngOut::with_profile(copy.width, copy.height, true, &profile(&copy))?;
        let bytes: Vec<u8> = copy.codes.iter().flat_map(|v| v.to_be_bytes()).collect();
        let mut file = out.rows(&bytes)?;
        file.extend(out.end()?);
        return Ok(file);
    }
    // 257 times an 8-bit code is the same value in 16 bits.
    let bytes: Vec<u8> = copy
        .codes
        .iter()
        .map(|v| ((u32::from(*v) + 128) / 257) as u8)
        .collect();
    let mut file = Cursor::new(Vec::new());
    let mut encoder = JpegEncoder::new_with_quality(&mut file, QUALITY);
    if !profile_assumed {
        let icc = bytes_of(&profile(&copy)).map_err(out::failed)?;
        encoder.set_icc_profile(icc).map_err(out::failed)?;
    }
    let (width, height) = (copy.width as u32, copy.height as u32);
    encoder
        .write_image(&bytes, width, height, ExtendedColorType::Rgb8)
        .map_err(out::failed)?;
    Ok(file.into_inner())
}

/// sRGB's curve and the painting's own primaries.
fn profile(painting: &Painting) -> ColorProfile {
    let rows = painting.to_xyz;
    let column = |i: usize| Xyzd {
        x: rows[0][i],
        y: rows[1][i],
        z: rows[2][i],
    };
    let mut profile = ColorProfile::new_srgb();
    profile.red_colorant = column(0);
    profile.green_colorant = column(1);
    profile.blue_colorant = column(2);
    profile.description = Some(ProfileText::Localizable(vec![LocalizableString::new(
        "en".into(),
        "US".into(),
        "the painting’s own".into(),
    )]));
    // What it says of sRGB by a code would no longer be so.
    profile.cicp = None;
    profile
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        colour::{self, Lab},
        scan::decode::decode,
        simulate::random::Random,
    };

    /// A damaged note may say any size.
    #[test]
    fn only_a_picture_that_can_be_has_a_copy() {
        assert!(is_copy([1600, 1067], [2400, 1600]));
        assert!(!is_copy([1600, 1067], [2400, 1500]));
        for whole in [
            [0, 0],
            [2400, 0],
            [usize::MAX, 2],
            [usize::MAX, usize::MAX],
            [1 << 33, 1],
        ] {
            assert!(!is_copy([1600, 1], whole), "{whole:?}");
        }
    }

    /// Fields of any colour with grain on them.
    fn painting(to_xyz: [[f64; 3]; 3], in_xyz: bool) -> Painting {
        let (width, height) = (2400, 1600);
        let mut random = Random::new(3);
        let fields: Vec<[f64; 3]> = (0..24 * 16)
            .map(|_| std::array::from_fn(|_| random.between(0.1, 0.9)))
            .collect();
        let codes = (0..width * height).flat_map(|i| {
            let field = fields[i / width / 100 * 24 + i % width / 100];
            let grain = 0.02 * random.normal();
            if in_xyz {
                // As an object colour has it: all three nearly alike.
                return field.map(|v| (65535.0 * (0.5 + 0.1 * v + grain)) as u16);
            }
            field.map(|v| (65535.0 * (v + grain).clamp(0.0, 1.0)) as u16)
        });
        Painting {
            width,
            height,
            codes: codes.collect(),
            to_xyz,
            in_xyz,
        }
    }

    #[test]
    fn a_reduced_copy_has_the_same_colours_in_the_same_coding() {
        let white = colour::WHITE;
        let xyz =
            std::array::from_fn(|i| std::array::from_fn(|j| if i == j { white[i] } else { 0.0 }));
        for (what, to_xyz, in_xyz, assumed) in [
            ("sRGB", colour::ScreenSpace::Srgb.to_xyz(), false, true),
            ("P3", colour::ScreenSpace::DisplayP3.to_xyz(), false, false),
            ("XYZ", xyz, true, false),
        ] {
            let whole = painting(to_xyz, in_xyz);
            let bytes = file(&whole, assumed).unwrap();
            eprintln!("{what}: {} bytes", bytes.len());
            assert!(bytes.len() < 4_500_000, "{what}: {}", bytes.len());
            let scan = decode(&bytes, "small").unwrap();
            assert_eq!(scan.origin.profile_assumed, assumed, "{what}");
            let back = Painting::of(scan).unwrap();
            assert_eq!(back.width.max(back.height), longest(&whole), "{what}");
            for (row, was) in back.to_xyz.iter().zip(to_xyz) {
                for (value, was) in row.iter().zip(was) {
                    assert!((value - was).abs() < 5e-4, "{what}: {value} {was}");
                }
            }
            // Means over the middle of every field, the whole one's against the copy's.
            let mean = |painting: &Painting, field: usize| -> Lab {
                let size = painting.width as f64 / 24.0;
                let at = |n: usize, share: f64| ((n as f64 + share) * size) as usize;
                let (fx, fy) = (field % 24, field / 24);
                let (mut sum, mut count) = ([0.0; 3], 0.0);
                for y in at(fy, 0.25)..at(fy, 0.75) {
                    for x in at(fx, 0.25)..at(fx, 0.75) {
                        let code = painting.code(x, y);
                        (0..3).for_each(|c| sum[c] += super::super::painting::linear_of(code[c]));
                        count += 1.0;
                    }
                }
                let linear = sum.map(|v| v / count);
                let [x, y, z] = painting
                    .to_xyz
                    .map(|row| row.iter().zip(linear).map(|(m, v)| m * v).sum::<f64>());
                colour::lab(colour::Xyz::new(x, y, z))
            };
            let mut off: Vec<f64> = (0..24 * 16)
                .map(|field| colour::difference(mean(&whole, field), mean(&back, field)))
                .collect();
            off.sort_by(f64::total_cmp);
            eprintln!(
                "{what}: {:.3} median, {:.3} most",
                off[off.len() / 2],
                off[off.len() - 1]
            );
            // JPEG moves them a little; a photo tells colours far less well.
            assert!(off[off.len() * 95 / 100] < 1.0, "{what}: {off:?}");
        }
    }
}
