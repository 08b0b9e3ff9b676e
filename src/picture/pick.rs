//! A colour averaged over a spot of a scan or photo.

use nalgebra::Matrix3;

use crate::{
    colour::{self, Lab, Xyz},
    scan::Scan,
};

/// The colour of a spot, and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// Mean colour, D50.
    pub lab: Lab,
    /// Standard deviations of L*, a*, b*: the spot's unevenness and the device's usual error.
    pub lab_sd: [f64; 3],
    /// Pixels averaged.
    pub pixels: u64,
    /// Share of pixels with a channel at its end, 0 to 1: there the picture does not tell the colour.
    pub clipped: f64,
}

/// Usual errors of a scanner in L*, a*, b*, standard deviations (ours; simulated scanners with a profile miss by 0.9 to 2.3
/// CIEDE2000 at the median).
pub(crate) const SCAN_SD: [f64; 3] = [1.0, 1.2, 1.5];
/// The same for a camera's picture whose exposure and white nobody set: light from one side, contrast and colours to please (ours).
pub(crate) const PHOTO_SD: [f64; 3] = [6.0, 3.5, 4.5];
/// What a missing profile adds.
pub(crate) const NO_PROFILE_SD: f64 = 1.5;
/// A spot counts as no more than so many independent grains, however many pixels it has.
const MOST_GRAINS: f64 = 25.0;

/// Standard deviations of L*, a*, b* that any colour of a scan or of a photo has, whatever its pixels say.
pub fn device_sd(photo: bool, profile_assumed: bool) -> [f64; 3] {
    let device = if photo { PHOTO_SD } else { SCAN_SD };
    let profile = if profile_assumed { NO_PROFILE_SD } else { 0.0 };
    device.map(|sd| libm::hypot(sd, profile))
}

/// The colour within `radius` pixels of a place in the upright picture; `None` where no pixel lies there. Averaged where
/// light adds up, with the picture's own profile.
pub fn spot(scan: &Scan, [x, y]: [f64; 2], radius: f64, photo: bool) -> Option<Spot> {
    let span = |at: f64, size: usize| {
        let low = (at - radius).ceil().max(0.0);
        let high = (at + radius).floor().min(size as f64 - 1.0);
        (low <= high).then_some((low as usize, high as usize))
    };
    let ((left, right), (top, bottom)) = (span(x, scan.width)?, span(y, scan.height)?);
    let mut values: Vec<[f64; 3]> = Vec::new();
    let mut clipped = 0_u64;
    for row in top..=bottom {
        for column in left..=right {
            let (dx, dy) = (column as f64 - x, row as f64 - y);
            if dx * dx + dy * dy > radius * radius {
                continue;
            }
            let code = scan.code(column, row);
            clipped += u64::from(code.iter().any(|&v| v == 0 || v == u16::MAX));
            values.push(scan.profile.additive_of(code));
        }
    }
    let count = values.len() as f64;
    if values.is_empty() {
        return None;
    }
    let mean: [f64; 3] = std::array::from_fn(|i| values.iter().map(|v| v[i]).sum::<f64>() / count);
    let xyz = scan.profile.xyz(mean);
    let (lab, to_lab) =
        colour::lab_with_slopes(Xyz::new(xyz.x.max(0.0), xyz.y.max(0.0), xyz.z.max(0.0)));
    let rows = scan.profile.to_xyz();
    let to_lab = Matrix3::from_fn(|i, j| to_lab[i][j]) * Matrix3::from_fn(|i, j| rows[i][j]);
    let mut spread = Matrix3::zeros();
    for value in &values {
        let off = nalgebra::Vector3::from_fn(|i, _| value[i] - mean[i]);
        spread += off * off.transpose();
    }
    let of_mean = to_lab * spread * to_lab.transpose() / (count * count.min(MOST_GRAINS));
    let device = device_sd(photo, scan.origin.profile_assumed);
    Some(Spot {
        lab,
        lab_sd: std::array::from_fn(|i| (of_mean[(i, i)] + device[i] * device[i]).sqrt()),
        pixels: values.len() as u64,
        clipped: clipped as f64 / count,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scan::{Origin, Pixels, Profile};

    fn scan(pixel: impl Fn(usize, usize) -> [u8; 3]) -> Scan {
        let (width, height) = (40, 30);
        Scan {
            width,
            height,
            pixels: Pixels::Eight(
                (0..width * height)
                    .flat_map(|i| pixel(i % width, i / width))
                    .collect(),
            ),
            profile: Profile::srgb(),
            origin: Origin::default(),
        }
    }

    #[test]
    fn an_even_spot_is_its_colour() {
        let scan = scan(|_, _| [200, 60, 30]);
        let spot = spot(&scan, [20.0, 15.0], 5.0, false).unwrap();
        let expected = colour::of_screen([200, 60, 30]);
        assert!(colour::difference(spot.lab, expected) < 0.05);
        assert_eq!(spot.pixels, 81, "a disc of radius 5 on whole numbers");
        assert_eq!(spot.clipped, 0.0);
        for (sd, device) in spot.lab_sd.iter().zip(SCAN_SD) {
            assert!((sd - device).abs() < 1e-6);
        }
    }

    /// Black and white pixels in equal number send half the light, which is L* 76.07 (CIE 015:2018, 8.2.1: 116 cbrt(0.5) - 16),
    /// not the half of their codes.
    #[test]
    fn light_is_averaged_and_not_codes() {
        let scan = scan(|x, y| if (x + y) % 2 == 0 { [0; 3] } else { [255; 3] });
        let spot = spot(&scan, [19.5, 14.5], 8.0, false).unwrap();
        assert!((spot.lab.l - 76.07).abs() < 0.3, "{:?}", spot.lab);
        assert_eq!(spot.clipped, 1.0);
        assert!(spot.lab_sd[0] > 3.0, "so uneven a spot is not known well");
    }

    #[test]
    fn a_photo_is_known_less_well_and_beside_the_picture_is_nothing() {
        let mut picture = scan(|_, _| [120, 110, 100]);
        let of_scan = spot(&picture, [0.0, 0.0], 3.0, false).unwrap();
        let of_photo = spot(&picture, [0.0, 0.0], 3.0, true).unwrap();
        assert_eq!(of_scan.lab, of_photo.lab);
        assert!((0..3).all(|i| of_photo.lab_sd[i] > 2.0 * of_scan.lab_sd[i]));
        picture.origin.profile_assumed = true;
        let without = spot(&picture, [0.0, 0.0], 3.0, false).unwrap();
        assert!((0..3).all(|i| without.lab_sd[i] > of_scan.lab_sd[i]));
        assert_eq!(spot(&picture, [-10.0, 5.0], 3.0, false), None);
    }
}
