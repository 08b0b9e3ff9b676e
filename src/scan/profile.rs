//! From a scanner's encoded numbers to colour, by the embedded ICC profile.
//!
//! [`moxcms`] reads the profile's bytes. The arithmetic is done here, in `f64` and by tables made once: its own
//! transforms resample every table profile to 33 steps a side, answer in steps of 1/32768 and use fused
//! multiply-adds where the processor has them, which would make the browser's digits differ from the program's.
//!
//! Colours are relative to the medium, as the connection space has them: the scanner's white is the perfect
//! diffuser. Black is left where the profile puts it.

mod curve;
mod table;

use std::sync::Arc;

use moxcms::{CmsError, ColorProfile, DataColorSpace, ProfileText};
use nalgebra::{Matrix3, Vector3};

use crate::colour::{self, Xyz};
use curve::Curve;
use table::Table;

/// The bytes of a profile as a file carries them.
///
/// The library lays its tags end to end. ICC.1:2022 (7.2.2, 7.3.1) has each of them, and the whole, begin and end at a multiple of
/// four bytes; common readers of PNG pass over a profile whose length is none. Its day of making (7.2.10) is the present second there
/// and 1 January 2026 here, so that the same work gives the same bytes.
///
/// # Errors
/// When the library cannot write the profile.
pub fn bytes_of(profile: &ColorProfile) -> Result<Vec<u8>, CmsError> {
    const HEADER: usize = 128;
    const ENTRY: usize = 12;
    let plain = profile.encode()?;
    let number =
        |at: usize| u32::from_be_bytes([plain[at], plain[at + 1], plain[at + 2], plain[at + 3]]);
    let tags = number(HEADER) as usize;
    let table = HEADER + 4..HEADER + 4 + ENTRY * tags;
    let mut bytes = plain[..table.end].to_vec();
    for entry in table.step_by(ENTRY) {
        let (from, length) = (number(entry + 4) as usize, number(entry + 8) as usize);
        let to = bytes.len() as u32;
        bytes[entry + 4..entry + 8].copy_from_slice(&to.to_be_bytes());
        bytes.extend_from_slice(&plain[from..from + length]);
        bytes.resize(bytes.len().next_multiple_of(4), 0);
    }
    let size = bytes.len() as u32;
    bytes[..4].copy_from_slice(&size.to_be_bytes());
    // The illuminant to the last digit that a header has it (ICC.1:2022, 7.2.16): some readers warn of any other.
    bytes[68..80].copy_from_slice(&[0, 0, 0xf6, 0xd6, 0, 1, 0, 0, 0, 0, 0xd3, 0x2d]);
    bytes[24..36].copy_from_slice(&[7, 234, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0]);
    Ok(bytes)
}

/// How encoded R, G, B become XYZ. Split in two so that pixels can be averaged in between, where light adds up.
#[derive(Debug, Clone)]
pub struct Profile {
    name: String,
    form: Form,
}

#[derive(Debug, Clone)]
enum Form {
    /// Tone curves, then a matrix (ICC.1:2022, F.3).
    Matrix {
        /// One table for every channel, over all 16-bit codes.
        curves: [Arc<[f32]>; 3],
        /// Rows X, Y, Z.
        rows: [[f64; 3]; 3],
    },
    /// A table over R, G, B (ICC.1:2022, 10.10 to 10.12).
    Table(Arc<Table>),
}

/// Why a profile cannot be used for an R, G, B picture.
#[derive(Debug, thiserror::Error)]
pub enum Unusable {
    /// The bytes cannot be understood.
    #[error("damaged")]
    Damaged(#[source] CmsError),
    /// Understood, but its numbers cannot be colours.
    #[error("damaged")]
    Absurd,
    /// It belongs to grey pictures.
    #[error("for grey pictures")]
    Grey,
    /// It belongs to CMYK pictures.
    #[error("for CMYK pictures")]
    Cmyk,
    /// It belongs to something else.
    #[error("not for RGB pictures")]
    Other,
}

impl Profile {
    /// The profile of a picture that carries none (IEC 61966-2-1).
    pub fn srgb() -> Self {
        // IEC 61966-2-1:1999, 5.2: threshold 0.04045, slope 12.92, offset 0.055, exponent 2.4.
        let curve = Curve::Parametric {
            g: 2.4,
            a: 1.0 / 1.055,
            b: 0.055 / 1.055,
            c: 1.0 / 12.92,
            d: 0.04045,
            e: 0.0,
            f: 0.0,
        };
        // IEC 61966-2-1:1999, table 1 (the primaries of ITU-R BT.709) and D65.
        let primaries = [[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]];
        Self::matrix(
            "sRGB".into(),
            [&curve; 3],
            from_primaries(primaries, [0.3127, 0.3290]),
        )
        .expect("the constants of sRGB are sound")
    }

    /// A picture described by its exponent and the chromaticities of its primaries and white, as PNG's gAMA and cHRM
    /// chunks do (PNG third edition, 11.3.2). `exponent` is of the decoding: 2.2, not 0.4545.
    pub fn from_chromaticities(
        exponent: f64,
        primaries: [[f64; 2]; 3],
        white: [f64; 2],
    ) -> Result<Self, Unusable> {
        let curve = Curve::power(exponent);
        let name = format!("exponent {exponent:.3} and chromaticities from the file");
        Self::matrix(name, [&curve; 3], from_primaries(primaries, white))
    }

    /// Reads an embedded ICC profile.
    pub fn from_icc(bytes: &[u8]) -> Result<Self, Unusable> {
        check_tag_table(bytes)?;
        let icc = ColorProfile::new_from_slice(bytes).map_err(Unusable::Damaged)?;
        match icc.color_space {
            DataColorSpace::Rgb => {}
            DataColorSpace::Gray => return Err(Unusable::Grey),
            DataColorSpace::Cmyk => return Err(Unusable::Cmyk),
            _ => return Err(Unusable::Other),
        }
        let name = description(&icc);
        // A colorimetric table comes before a perceptual one, and any table before curves and matrix (ICC.1:2022, 8.10).
        let lut = icc
            .lut_a_to_b_colorimetric
            .as_ref()
            .or(icc.lut_a_to_b_perceptual.as_ref());
        if let Some(lut) = lut {
            let table = Table::new(lut, icc.pcs)?;
            let profile = Self {
                name,
                form: Form::Table(Arc::new(table)),
            };
            return profile.checked();
        }
        let (Some(red), Some(green), Some(blue)) = (&icc.red_trc, &icc.green_trc, &icc.blue_trc)
        else {
            return Err(Unusable::Absurd);
        };
        if icc.pcs != DataColorSpace::Xyz {
            return Err(Unusable::Absurd);
        }
        let curves = [Curve::new(red)?, Curve::new(green)?, Curve::new(blue)?];
        Self::matrix(
            name,
            [&curves[0], &curves[1], &curves[2]],
            icc.colorant_matrix().v,
        )
    }

    fn matrix(name: String, curves: [&Curve; 3], rows: [[f64; 3]; 3]) -> Result<Self, Unusable> {
        let first: Arc<[f32]> = curves[0].by_code().into();
        let other = |curve: &Curve| {
            if curve == curves[0] {
                first.clone()
            } else {
                curve.by_code().into()
            }
        };
        let curves = [first.clone(), other(curves[1]), other(curves[2])];
        Self {
            name,
            form: Form::Matrix { curves, rows },
        }
        .checked()
    }

    /// Refuses numbers that no scanner's profile can have, so that none reaches a fit.
    fn checked(self) -> Result<Self, Unusable> {
        let white = self.xyz(self.additive([1.0; 3]));
        let black = self.xyz(self.additive([0.0; 3]));
        let sound = |xyz: Xyz, low: f64, high: f64| {
            [xyz.x, xyz.y, xyz.z]
                .iter()
                .all(|v| (low..=high).contains(v))
        };
        let finite = match &self.form {
            Form::Matrix { curves, rows } => {
                curves
                    .iter()
                    .all(|curve| curve.iter().all(|v| (-1.0..=4.0).contains(v)))
                    && Matrix3::from_fn(|i, j| rows[i][j]).determinant().abs() > 1e-4
            }
            Form::Table(_) => true,
        };
        if finite && sound(white, 0.2, 2.0) && sound(black, -0.2, 0.5) {
            Ok(self)
        } else {
            Err(Unusable::Absurd)
        }
    }

    /// What the profile calls itself.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Whether additive values belong to the scanner's own channels. They do for matrix profiles; for table profiles they
    /// are X, Y, Z, and a channel at its end says nothing of any one of them.
    pub fn additive_is_device(&self) -> bool {
        matches!(self.form, Form::Matrix { .. })
    }

    /// Encoded R, G, B (0 to 1) to a space where light adds up: linear device R, G, B for matrix profiles,
    /// XYZ itself for table profiles. Averages of pixels are taken there. Rounded to 16 bits.
    pub fn additive(&self, encoded: [f32; 3]) -> [f64; 3] {
        self.additive_of(encoded.map(|v| (v.clamp(0.0, 1.0) * 65535.0 + 0.5) as u16))
    }

    /// The same for 16-bit codes; an 8-bit code counts 257 times.
    #[inline]
    pub fn additive_of(&self, code: [u16; 3]) -> [f64; 3] {
        match &self.form {
            Form::Matrix { curves, .. } => {
                std::array::from_fn(|i| f64::from(curves[i][usize::from(code[i])]))
            }
            Form::Table(table) => table.xyz(code),
        }
    }

    /// Rows X, Y, Z: additive values to XYZ (D50, 1 = scanner white = perfect diffuser). The identity for table profiles.
    pub fn to_xyz(&self) -> [[f64; 3]; 3] {
        match &self.form {
            Form::Matrix { rows, .. } => *rows,
            Form::Table(_) => [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        }
    }

    /// XYZ of averaged additive values.
    pub fn xyz(&self, additive: [f64; 3]) -> Xyz {
        let [x, y, z] = self
            .to_xyz()
            .map(|row| row[0] * additive[0] + row[1] * additive[1] + row[2] * additive[2]);
        Xyz::new(x, y, z)
    }
}

/// Rows X, Y, Z of linear R, G, B with these primaries, its white brought to the connection space's.
/// A matrix without meaning, which [`Profile::checked`] refuses, when the primaries lie on one line.
fn from_primaries(primaries: [[f64; 2]; 3], white: [f64; 2]) -> [[f64; 3]; 3] {
    let xyz = |[x, y]: [f64; 2]| Vector3::new(x / y, 1.0, (1.0 - x - y) / y);
    let columns = Matrix3::from_columns(&primaries.map(xyz));
    let white = xyz(white);
    let Some(inverse) = columns.try_inverse() else {
        return [[0.0; 3]; 3];
    };
    let matrix =
        adapt_to_connection_space(white) * columns * Matrix3::from_diagonal(&(inverse * white));
    std::array::from_fn(|i| std::array::from_fn(|j| matrix[(i, j)]))
}

/// Linear Bradford adaptation (ICC.1:2022, annex E).
fn adapt_to_connection_space(white: Vector3<f64>) -> Matrix3<f64> {
    #[rustfmt::skip]
    let cones = Matrix3::new(
        0.8951, 0.2664, -0.1614,
        -0.7502, 1.7135, 0.0367,
        0.0389, -0.0685, 1.0296,
    );
    let from = cones * white;
    let to = cones * Vector3::from(colour::WHITE);
    let back = cones
        .try_inverse()
        .expect("the Bradford matrix has an inverse");
    back * Matrix3::from_diagonal(&to.component_div(&from)) * cones
}

/// Checks that every tag lies inside the profile. The reader trusts sums of 32-bit numbers, which overflow in WebAssembly.
fn check_tag_table(bytes: &[u8]) -> Result<(), Unusable> {
    const HEADER: usize = 128; // ICC.1:2022, 7.2
    const TAG: usize = 12; // ICC.1:2022, 7.3
    let damaged = || Unusable::Damaged(CmsError::InvalidProfile);
    let word = |at: usize| {
        let bytes = bytes.get(at..at + 4)?;
        Some(u32::from_be_bytes([bytes[0], bytes[1], bytes[2], bytes[3]]))
    };
    let count = word(HEADER).ok_or_else(damaged)?;
    if count as usize > bytes.len() / TAG {
        return Err(damaged());
    }
    for tag in 0..count as usize {
        let at = HEADER + 4 + TAG * tag;
        let (offset, size) = (
            word(at + 4).ok_or_else(damaged)?,
            word(at + 8).ok_or_else(damaged)?,
        );
        if u64::from(offset) + u64::from(size) > bytes.len() as u64 {
            return Err(damaged());
        }
    }
    Ok(())
}

fn description(icc: &ColorProfile) -> String {
    let text = match &icc.description {
        Some(ProfileText::PlainString(text)) => text.as_str(),
        Some(ProfileText::Description(text)) => text.ascii_string.as_str(),
        Some(ProfileText::Localizable(texts)) => {
            let english = texts.iter().find(|text| text.language == "en");
            english
                .or(texts.first())
                .map_or("", |text| text.value.as_str())
        }
        None => "",
    };
    let text: String = text.chars().filter(|c| !c.is_control()).take(120).collect();
    match text.trim() {
        "" => "unnamed profile".into(),
        named => named.into(),
    }
}

#[cfg(test)]
mod tests;
