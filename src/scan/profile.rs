//! From a scanner's encoded numbers to colour, by the embedded ICC profile.

use crate::colour::Xyz;

/// How encoded R, G, B become XYZ. Split in two so that pixels can be averaged in between, where light adds up.
#[derive(Debug, Clone)]
pub struct Profile {}

impl Profile {
    /// The profile of a picture that carries none (IEC 61966-2-1).
    pub fn srgb() -> Self {
        todo!()
    }

    /// Encoded R, G, B (0 to 1) to a space where light adds up: linear device R, G, B for matrix profiles,
    /// XYZ itself for table profiles. Averages of pixels are taken there.
    pub fn additive(&self, _encoded: [f32; 3]) -> [f64; 3] {
        todo!()
    }

    /// Rows X, Y, Z: additive values to XYZ (D50, 1 = scanner white = perfect diffuser). The identity for table profiles.
    pub fn to_xyz(&self) -> [[f64; 3]; 3] {
        todo!()
    }

    /// XYZ of averaged additive values.
    pub fn xyz(&self, _additive: [f64; 3]) -> Xyz {
        todo!()
    }
}
