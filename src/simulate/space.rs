//! Colour spaces that simulated files are written in.

use moxcms::{ColorProfile, LocalizableString, ProfileText, ToneReprCurve, Xyzd};
use nalgebra::Matrix3;
use serde::Serialize;

use crate::{colour::WHITE, scan::profile::bytes_of};

/// Red, green and blue of sRGB in the connection space: primaries of IEC 61966-2-1, adapted from D65 by Bradford; the
/// digits that the ICC's own sRGB profile carries (from memory).
const SRGB_COLORANTS: [[f64; 3]; 3] = [
    [0.43607, 0.22249, 0.01392],
    [0.38515, 0.71687, 0.09708],
    [0.14307, 0.06061, 0.71410],
];

/// A colour space of three primaries, white D50 in the profile.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Space {
    /// sRGB (IEC 61966-2-1).
    Srgb,
    /// Display P3 (SMPTE EG 432-1 primaries, D65, the curve of sRGB).
    DisplayP3,
    /// Wide primaries of ITU-R BT.2020 with its camera curve.
    Bt2020,
    /// ROMM primaries (ISO 22028-2) with a plain exponent near 1.8.
    Romm,
}

impl Space {
    /// The profile as it is embedded.
    pub fn icc(self) -> Vec<u8> {
        let mut profile = match self {
            Self::Srgb => {
                let mut profile = ColorProfile::new_srgb();
                let [red, green, blue] = SRGB_COLORANTS.map(|[x, y, z]| Xyzd { x, y, z });
                (
                    profile.red_colorant,
                    profile.green_colorant,
                    profile.blue_colorant,
                ) = (red, green, blue);
                profile
            }
            Self::DisplayP3 => ColorProfile::new_display_p3(),
            Self::Bt2020 => ColorProfile::new_bt2020(),
            Self::Romm => ColorProfile::new_pro_photo_rgb(),
        };
        let text = format!("Simulated scanner, {} primaries", self.primaries());
        let english = LocalizableString::new("en".into(), "GB".into(), text);
        profile.description = Some(ProfileText::Localizable(vec![english]));
        // The connection space's white, exactly (ICC.1:2022, 7.2.16 and 9.2.36).
        profile.white_point = Xyzd {
            x: WHITE[0],
            y: WHITE[1],
            z: WHITE[2],
        };
        profile.media_white_point = Some(profile.white_point);
        bytes_of(&profile).expect("a matrix profile always encodes")
    }

    /// The profile as a reader of the file gets it, numbers rounded as the format rounds them.
    pub fn profile(self) -> ColorProfile {
        ColorProfile::new_from_slice(&self.icc()).expect("our own profile is readable")
    }

    fn primaries(self) -> &'static str {
        match self {
            Self::Srgb => "sRGB",
            Self::DisplayP3 => "P3",
            Self::Bt2020 => "BT.2020",
            Self::Romm => "ROMM",
        }
    }

    /// Columns are the primaries' XYZ (D50): from linear R, G, B to XYZ.
    pub fn to_xyz(self) -> Matrix3<f64> {
        let matrix = self.profile().rgb_to_xyz_matrix();
        Matrix3::from_fn(|i, j| matrix.v[i][j])
    }

    /// The tone curve.
    pub fn curve(self) -> Curve {
        match self.profile().red_trc {
            Some(ToneReprCurve::Parametric(p)) if p.len() == 5 => {
                let [gamma, a, b, c, d] = [p[0], p[1], p[2], p[3], p[4]].map(f64::from);
                Curve { gamma, a, b, c, d }
            }
            // ICC.1:2022, 10.6: a single entry is an exponent in 1/256.
            Some(ToneReprCurve::Lut(lut)) if lut.len() == 1 => {
                Curve::exponent(f64::from(lut[0]) / 256.0)
            }
            Some(ToneReprCurve::Parametric(p)) if p.len() == 1 => Curve::exponent(f64::from(p[0])),
            other => panic!("an unexpected tone curve: {other:?}"),
        }
    }
}

/// Parametric curve of type 3 (ICC.1:2022, 10.18): linear = (a x + b)^gamma from d up, c x below.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve {
    gamma: f64,
    a: f64,
    b: f64,
    c: f64,
    d: f64,
}

impl Curve {
    fn exponent(gamma: f64) -> Self {
        Self {
            gamma,
            a: 1.0,
            b: 0.0,
            c: 0.0,
            d: 0.0,
        }
    }

    /// Encoded 0 to 1 -> linear.
    pub fn decode(&self, encoded: f64) -> f64 {
        if encoded >= self.d {
            libm::pow(self.a * encoded + self.b, self.gamma)
        } else {
            self.c * encoded
        }
    }

    /// Linear -> encoded, clipped to 0 to 1.
    pub fn encode(&self, linear: f64) -> f64 {
        let linear = linear.clamp(0.0, 1.0);
        if linear < self.c * self.d {
            return linear / self.c;
        }
        ((libm::pow(linear, 1.0 / self.gamma) - self.b) / self.a).clamp(0.0, 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Space; 4] = [Space::Srgb, Space::DisplayP3, Space::Bt2020, Space::Romm];

    #[test]
    fn curves_undo_themselves() {
        for space in ALL {
            let curve = space.curve();
            for i in 0..=1000 {
                let encoded = f64::from(i) / 1000.0;
                let there = curve.encode(curve.decode(encoded));
                assert!(
                    (there - encoded).abs() < 1e-6,
                    "{space:?} {encoded} {there}"
                );
            }
        }
    }

    /// The linear matrix of IEC 61966-2-1 (derived from its primaries), adapted from D65 to D50 by the published
    /// Bradford matrix (Lam 1985; digits as B. Lindbloom tabulates them), and the standard's curve at 0.5.
    #[test]
    fn srgb_is_the_published_one() {
        let linear = Matrix3::new(
            0.412390799,
            0.357584339,
            0.180480788,
            0.212639006,
            0.715168679,
            0.072192315,
            0.019330819,
            0.119194780,
            0.950532152,
        );
        let bradford = Matrix3::new(
            1.0478112, 0.0228866, -0.0501270, 0.0295424, 0.9904844, -0.0170491, -0.0092345,
            0.0150436, 0.7521316,
        );
        let difference = Space::Srgb.to_xyz() - bradford * linear;
        assert!(difference.iter().all(|d| d.abs() < 3e-4), "{difference}");
        let half = libm::pow((0.5 + 0.055) / 1.055, 2.4);
        assert!((Space::Srgb.curve().decode(0.5) - half).abs() < 1e-5);
    }

    #[test]
    fn white_is_the_connection_white_within_the_formats_rounding() {
        for space in ALL {
            let matrix = space.to_xyz();
            for axis in 0..3 {
                let white = matrix.row(axis).sum();
                assert!(
                    (white - crate::colour::WHITE[axis]).abs() < 5e-4,
                    "{space:?} {axis} {white}"
                );
            }
        }
    }
}
