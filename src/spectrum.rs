//! Spectra on 31 bands and the CIE tables that turn them into XYZ.

use crate::colour::{self, Xyz};

/// Number of bands: 400 to 700 nm every 10 nm.
pub const BANDS: usize = 31;
/// Centre of the first band in nm.
pub const FIRST_NM: f64 = 400.0;
/// Distance of neighbouring bands in nm.
pub const STEP_NM: f64 = 10.0;

/// One number a band.
pub type Bands = [f64; BANDS];

/// Wavelengths of the bands in nm.
pub fn wavelengths() -> Bands {
    std::array::from_fn(|i| FIRST_NM + STEP_NM * i as f64)
}

/// CIE 1931 2 degree colour matching functions at the bands (CIE 018:2019, table 6; ISO/CIE 11664-1).
#[rustfmt::skip]
pub const CMF: [[f64; 3]; BANDS] = [
    [0.01431, 0.000396, 0.06785001],
    [0.04351, 0.00121, 0.2074],
    [0.13438, 0.004, 0.6456],
    [0.2839, 0.0116, 1.3856],
    [0.34828, 0.023, 1.74706],
    [0.3362, 0.038, 1.77211],
    [0.2908, 0.06, 1.6692],
    [0.19536, 0.09098, 1.28764],
    [0.09564, 0.13902, 0.8129501],
    [0.03201, 0.20802, 0.46518],
    [0.0049, 0.323, 0.272],
    [0.0093, 0.503, 0.1582],
    [0.06327, 0.71, 0.07824999],
    [0.1655, 0.862, 0.04216],
    [0.2904, 0.954, 0.0203],
    [0.4334499, 0.9949501, 0.008749999],
    [0.5945, 0.995, 0.0039],
    [0.7621, 0.952, 0.0021],
    [0.9163, 0.87, 0.001650001],
    [1.0263, 0.757, 0.0011],
    [1.0622, 0.631, 0.0008],
    [1.0026, 0.503, 0.00034],
    [0.8544499, 0.381, 0.00019],
    [0.6424, 0.265, 0.00005],
    [0.4479, 0.175, 0.00002],
    [0.2835, 0.107, 0.0],
    [0.1649, 0.061, 0.0],
    [0.0874, 0.032, 0.0],
    [0.04677, 0.017, 0.0],
    [0.0227, 0.00821, 0.0],
    [0.01135916, 0.004102, 0.0],
];

/// CIE standard illuminant D50 at the bands, relative power (CIE 015:2018, table T.1).
#[rustfmt::skip]
pub const D50: Bands = [
    49.308, 56.513, 60.034, 57.818, 74.825, 87.247, 90.612, 91.368,
    95.109, 91.963, 95.724, 96.613, 97.129, 102.099, 100.755, 102.317,
    100.0, 97.735, 98.918, 93.499, 97.688, 99.269, 99.042, 95.722,
    98.857, 95.667, 98.19, 103.003, 99.133, 87.381, 91.604,
];

/// Rows X, Y, Z: from a reflectance spectrum to XYZ under D50.
///
/// Scaled so that a flat spectrum of 1 gives the connection-space white exactly; otherwise greys pick up a tint.
pub fn to_xyz_rows() -> [Bands; 3] {
    let mut rows = [[0.0; BANDS]; 3];
    for (axis, row) in rows.iter_mut().enumerate() {
        for band in 0..BANDS {
            row[band] = CMF[band][axis] * D50[band];
        }
        let scale = colour::WHITE[axis] / row.iter().sum::<f64>();
        row.iter_mut().for_each(|v| *v *= scale);
    }
    rows
}

/// XYZ of a reflectance spectrum.
pub fn xyz_of(reflectance: &Bands) -> Xyz {
    let rows = to_xyz_rows();
    let dot = |row: &Bands| row.iter().zip(reflectance).map(|(w, r)| w * r).sum::<f64>();
    Xyz::new(dot(&rows[0]), dot(&rows[1]), dot(&rows[2]))
}
