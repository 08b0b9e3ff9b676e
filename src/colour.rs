//! Colours: XYZ and Lab in the ICC connection space, CIEDE2000, and sRGB and Display-P3 out.
//!
//! The only colour conversions of the crate. The types are palette's, so a colour of another white point does not
//! fit where one of these is asked for.

use palette::{
    IntoColor,
    color_difference::Ciede2000,
    white_point::{Any, WhitePoint},
};

/// White of the ICC profile connection space (ICC.1:2022, 7.2.16): D50 as profiles carry it.
pub const WHITE: [f64; 3] = [0.9642, 1.0, 0.8249];

/// The connection-space white as a type. palette's own D50 differs in the fourth digit, enough to tint a grey by 0.03 b*.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ConnectionWhite;

impl WhitePoint<f64> for ConnectionWhite {
    fn get_xyz() -> palette::Xyz<Any, f64> {
        palette::Xyz::new(WHITE[0], WHITE[1], WHITE[2])
    }
}

/// XYZ relative to a perfect diffuser (Y = 1), D50, 2 degrees.
pub type Xyz = palette::Xyz<ConnectionWhite, f64>;
/// CIE L*a*b*, D50, 2 degrees; L* 0 to 100.
pub type Lab = palette::Lab<ConnectionWhite, f64>;

/// XYZ to Lab (CIE 015:2018, 8.2.1). Negative XYZ, which noise makes, counts as zero.
pub fn lab(xyz: Xyz) -> Lab {
    Xyz::new(xyz.x.max(0.0), xyz.y.max(0.0), xyz.z.max(0.0)).into_color()
}

/// Lab to XYZ.
pub fn xyz(lab: Lab) -> Xyz {
    lab.into_color()
}

/// CIEDE2000 (CIE 142-2001; Sharma, Wu and Dalal 2005), weights 1.
pub fn difference(a: Lab, b: Lab) -> f64 {
    a.difference(b)
}
