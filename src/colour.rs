//! Colours: XYZ and Lab in the ICC connection space, CIEDE2000, and sRGB and Display-P3 out.
//!
//! The only colour conversions of the crate. The types are palette's, so a colour of another white point does not
//! fit where one of these is asked for.

mod difference;

use palette::{
    IntoColor,
    white_point::{Any, WhitePoint},
};

pub use difference::DifferenceFrom;

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
    DifferenceFrom::new(a).to(b)
}

/// Lab of an XYZ, and the slopes of L*, a*, b* (rows) along X, Y, Z (columns).
pub fn lab_with_slopes(xyz: Xyz) -> (Lab, [[f64; 3]; 3]) {
    // CIE 015:2018, 8.2.1: f is a cube root above (6/29)^3 and a straight line below.
    let slope = |value: f64, white: f64| {
        let t = (value / white).max(0.0);
        let steep = if t > 216.0 / 24389.0 {
            1.0 / (3.0 * libm::cbrt(t * t))
        } else {
            24389.0 / 27.0 / 116.0
        };
        steep / white
    };
    let (x, y, z) = (
        slope(xyz.x, WHITE[0]),
        slope(xyz.y, WHITE[1]),
        slope(xyz.z, WHITE[2]),
    );
    (
        lab(xyz),
        [
            [0.0, 116.0 * y, 0.0],
            [500.0 * x, -500.0 * y, 0.0],
            [0.0, 200.0 * y, -200.0 * z],
        ],
    )
}

/// A colour for a screen: encoded sRGB, and whether it had to be cut to fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Screen {
    /// Encoded R, G, B, 0 to 255.
    pub rgb: [u8; 3],
    /// Whether the colour lies outside the screen's gamut by more than a rounding step.
    pub cut: bool,
}

impl Screen {
    /// `#rrggbb`.
    pub fn hex(&self) -> String {
        let [r, g, b] = self.rgb;
        format!("#{r:02x}{g:02x}{b:02x}")
    }
}

/// D50 to D65 by Bradford (CIE 15 and ICC.1:2022 annex E for the cone matrix), then to linear sRGB (IEC 61966-2-1), for
/// XYZ of the connection space. Rows R, G, B; the inverse of the matrix that sRGB profiles carry.
const TO_LINEAR_SRGB: [[f64; 3]; 3] = [
    [3.133_856_1, -1.616_866_7, -0.490_614_6],
    [-0.978_768_4, 1.916_141_5, 0.033_454_0],
    [0.071_945_3, -0.228_991_4, 1.405_242_7],
];

/// The same for Display-P3: primaries 0.680 0.320, 0.265 0.690, 0.150 0.060 and D65 (SMPTE EG 432-1 with the white and the curve
/// of sRGB), brought to D50 by Bradford.
const TO_LINEAR_P3: [[f64; 3]; 3] = [
    [2.403_984_0, -0.989_906_9, -0.397_641_5],
    [-0.842_222_9, 1.798_843_7, 0.016_035_4],
    [0.048_205_9, -0.097_406_8, 1.274_004_9],
];

/// What a screen or a picture file counts its colours in. Both have sRGB's curve.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ScreenSpace {
    /// sRGB (IEC 61966-2-1).
    #[default]
    Srgb,
    /// Display-P3.
    DisplayP3,
}

impl ScreenSpace {
    /// Rows R, G, B: XYZ of the connection space to linear values.
    pub fn from_xyz(self) -> [[f64; 3]; 3] {
        match self {
            Self::Srgb => TO_LINEAR_SRGB,
            Self::DisplayP3 => TO_LINEAR_P3,
        }
    }

    /// Rows X, Y, Z: the way back.
    pub fn to_xyz(self) -> [[f64; 3]; 3] {
        let rows = self.from_xyz();
        let inverse = nalgebra::Matrix3::from_fn(|i, j| rows[i][j])
            .try_inverse()
            .unwrap_or_else(nalgebra::Matrix3::zeros);
        std::array::from_fn(|i| std::array::from_fn(|j| inverse[(i, j)]))
    }
}

/// Encoded sRGB of a colour, clipped channel by channel.
pub fn screen(lab: Lab) -> Screen {
    let (encoded, cut) = encoded(lab, ScreenSpace::Srgb);
    Screen {
        rgb: encoded.map(|v| (v * 255.0 + 0.5) as u8),
        cut,
    }
}

/// A colour encoded for a screen's space, 0 to 1 and clipped channel by channel, and whether it had to be cut for that by more
/// than a rounding step.
pub fn encoded(lab: Lab, space: ScreenSpace) -> ([f64; 3], bool) {
    let c = xyz(lab);
    let mut cut = false;
    let encoded = space.from_xyz().map(|row| {
        let v = row[0] * c.x + row[1] * c.y + row[2] * c.z;
        // A quarter of a step of 1/255 in the darks, where the curve is straight.
        cut |= !(-0.0003..=1.0 + 0.002).contains(&v);
        encode_srgb(v.clamp(0.0, 1.0))
    });
    (encoded, cut)
}

/// The colour of encoded sRGB, each channel 0 to 255: the way back from [`screen`].
pub fn of_screen(rgb: [u8; 3]) -> Lab {
    let to_xyz = nalgebra::Matrix3::from_fn(|i, j| TO_LINEAR_SRGB[i][j])
        .try_inverse()
        .unwrap_or_else(nalgebra::Matrix3::zeros);
    let linear = nalgebra::Vector3::from(rgb.map(|v| decode_srgb(f64::from(v) / 255.0)));
    let c = to_xyz * linear;
    lab(Xyz::new(c.x, c.y, c.z))
}

/// [`screen`] for the many pixels of a picture: the same colours to within one step of 255, from a table of sRGB's curve.
#[derive(Debug, Clone)]
pub struct ScreenTable {
    /// Rows R, G, B: from the picture's own additive values to linear sRGB.
    to_linear: [[f32; 3]; 3],
    /// sRGB's curve, 0 to 255, at even steps of linear light. Where it is steepest, a step of the table is a twentieth of one of 255.
    curve: Vec<u8>,
}

impl ScreenTable {
    const STEPS: f32 = 65_535.0;

    /// For values that rows X, Y, Z of `to_xyz` take to XYZ (D50).
    pub fn new(to_xyz: [[f64; 3]; 3]) -> Self {
        let entry = |row: usize, column: usize| -> f64 {
            (0..3)
                .map(|k| TO_LINEAR_SRGB[row][k] * to_xyz[k][column])
                .sum()
        };
        let to_linear =
            std::array::from_fn(|row| std::array::from_fn(|column| entry(row, column) as f32));
        let encoded = |i: u16| encode_srgb(f64::from(i) / f64::from(Self::STEPS));
        let curve = (0..=u16::MAX).map(|i| (255.0 * encoded(i) + 0.5) as u8);
        Self {
            to_linear,
            curve: curve.collect(),
        }
    }

    /// Encoded R, G, B of a colour, 0 to 255, clipped channel by channel.
    #[inline]
    pub fn rgb(&self, additive: [f32; 3]) -> [u8; 3] {
        let [a, b, c] = additive;
        let of = |row: &[f32; 3]| {
            let linear = row[0] * a + row[1] * b + row[2] * c;
            self.curve[usize::from((linear * Self::STEPS + 0.5) as u16)]
        };
        let [red, green, blue] = &self.to_linear;
        [of(red), of(green), of(blue)]
    }
}

/// sRGB's curve: linear 0..1 to encoded 0..1 (IEC 61966-2-1).
pub fn encode_srgb(linear: f64) -> f64 {
    if linear <= 0.003_130_8 {
        12.92 * linear
    } else {
        1.055 * libm::pow(linear, 1.0 / 2.4) - 0.055
    }
}

/// The inverse of [`encode_srgb`].
pub fn decode_srgb(encoded: f64) -> f64 {
    if encoded <= 0.040_45 {
        encoded / 12.92
    } else {
        libm::pow((encoded + 0.055) / 1.055, 2.4)
    }
}
