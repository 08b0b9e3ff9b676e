//! Spectra on 31 bands and the CIE tables that turn them into XYZ, and spectra behind a colour.

use std::sync::OnceLock;

use nalgebra::{SMatrix, SVector};

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
pub const fn to_xyz_rows() -> [Bands; 3] {
    const ROWS: [Bands; 3] = {
        let mut rows = [[0.0; BANDS]; 3];
        let mut axis = 0;
        while axis < 3 {
            let mut sum = 0.0;
            let mut band = 0;
            while band < BANDS {
                rows[axis][band] = CMF[band][axis] * D50[band];
                sum += rows[axis][band];
                band += 1;
            }
            let scale = colour::WHITE[axis] / sum;
            band = 0;
            while band < BANDS {
                rows[axis][band] *= scale;
                band += 1;
            }
            axis += 1;
        }
        rows
    };
    ROWS
}

/// XYZ of a reflectance spectrum.
pub fn xyz_of(reflectance: &Bands) -> Xyz {
    let rows = to_xyz_rows();
    let dot = |row: &Bands| row.iter().zip(reflectance).map(|(w, r)| w * r).sum::<f64>();
    Xyz::new(dot(&rows[0]), dot(&rows[1]), dot(&rows[2]))
}

/// How exactly the colour has to be met: a floor, and a share of the value. The floor alone would leave darks 0.2
/// CIEDE2000 too light.
const COLOUR_SD: (f64, f64) = (0.0002, 0.001);
/// Standard deviation of the second differences of the spectrum's logit.
const SMOOTH_SD: f64 = 0.6;

/// Covariance over the bands.
pub type BandCovariance = SMatrix<f64, BANDS, BANDS>;

/// Smoothest reflectance spectrum behind one XYZ colour: logit of reflectance with normal second differences, met within
/// [`COLOUR_SD`], by Gauss-Newton.
///
/// The idea is Burns's (arXiv 1710.05732); a spectrum between 0 and 1 always comes out, also for colours that no
/// reflectance has, where it is the nearest one.
pub fn smoothest(xyz: Xyz) -> Bands {
    let mean = [libm::log(0.3 / 0.7); BANDS];
    most_probable(xyz, &mean, smoothness_covariance(), &mean, EXACT).map(logistic)
}

/// Spectrum behind one colour, and how well it is known.
#[derive(Debug, Clone, PartialEq)]
pub struct Usual {
    /// Reflectance.
    pub reflectance: Bands,
    /// Covariance of the reflectance: many spectra have one colour.
    pub covariance: BandCovariance,
    /// How the reflectance follows the colour: its slopes along X, Y, Z.
    pub gain: SMatrix<f64, BANDS, 3>,
}

/// The most usual reflectance spectrum behind one XYZ colour, by what painted chips and things around us reflect
/// (`spectrum/usual.py` says which).
///
/// Under clear films over 187 chips and objects (`tests/grounds.rs`) it is off by 0.7 CIEDE2000 at the median and 3.4 at the 95th
/// percentile where [`smoothest`] is off by 1.0 and 3.9; and it knows its uncertainty, which [`smoothest`] overrates tenfold.
pub fn usual(xyz: Xyz) -> Usual {
    let (_, covariance) = usual_spectra();
    let mean = usual_mean(xyz);
    let reflectance = most_probable(xyz, &mean, covariance, &mean, EXACT).map(logistic);
    let rows = to_xyz_rows();
    let slope = reflectance.map(|r| r * (1.0 - r));
    let jacobian = SMatrix::<f64, 3, BANDS>::from_fn(|axis, b| rows[axis][b] * slope[b]);
    let spread = covariance * jacobian.transpose();
    let mut inner = jacobian * spread;
    for (axis, value) in [xyz.x, xyz.y, xyz.z].into_iter().enumerate() {
        let sd = colour_sd(value);
        inner[(axis, axis)] += sd * sd;
    }
    let mut left = *covariance;
    let mut gain = SMatrix::<f64, BANDS, 3>::zeros();
    if let Some(factor) = inner.cholesky() {
        let solved = factor.solve(&spread.transpose());
        left -= spread * solved;
        gain = SMatrix::from_fn(|band, axis| slope[band] * solved[(axis, band)]);
    }
    Usual {
        reflectance,
        covariance: BandCovariance::from_fn(|i, j| slope[i] * slope[j] * left[(i, j)]),
        gain,
    }
}

/// The reflectance of [`usual`] alone for one colour after another, each of them near the one before: a tenth of the work.
#[derive(Debug, Clone, Default)]
pub struct UsualWalk {
    /// Logits of the spectrum before.
    last: Option<Bands>,
}

impl UsualWalk {
    /// The reflectance behind the next colour.
    pub fn next(&mut self, xyz: Xyz) -> Bands {
        let mean = usual_mean(xyz);
        let start = self.last.unwrap_or(mean);
        let found = most_probable(xyz, &mean, usual_spectra().1, &start, NEAR);
        self.last = Some(found);
        found.map(logistic)
    }
}

/// Mean logits of the spectra that a colour may have.
fn usual_mean(xyz: Xyz) -> Bands {
    let neutral = neutrality(xyz);
    let flat = logit(xyz.y.clamp(0.002, 0.995));
    usual_spectra()
        .0
        .map(|m| neutral * flat + (1.0 - neutral) * m)
}

/// 1 for a grey, falling to 0 for colours: greys are mostly mixed of black and white, which reflect evenly, and not what is
/// left when the colours of things around us cancel.
fn neutrality(xyz: Xyz) -> f64 {
    /// Chroma at which a colour is no longer taken for a grey (ours).
    const GREY: f64 = 5.0;
    let lab = colour::lab(xyz);
    libm::exp(-0.5 * (lab.a * lab.a + lab.b * lab.b) / (GREY * GREY))
}

fn colour_sd(value: f64) -> f64 {
    COLOUR_SD.0 + COLOUR_SD.1 * value.max(0.0)
}

/// When to stop: largest change of a logit, most steps.
type Until = (f64, usize);
const EXACT: Until = (1e-7, 60);
/// A colour differs by less than 0.001 CIEDE2000.
const NEAR: Until = (1e-3, 25);

/// Logits of the most probable reflectance behind a colour, if the logits of spectra are normal.
fn most_probable(
    xyz: Xyz,
    mean: &Bands,
    covariance: &BandCovariance,
    start: &Bands,
    (least, most): Until,
) -> Bands {
    let rows = to_xyz_rows();
    let target = [xyz.x, xyz.y, xyz.z];
    // mean + P J^T (J P J^T + R)^-1 (residual + J (z - mean)).
    let mut z = *start;
    let mut best = (f64::INFINITY, z);
    for _ in 0..most {
        let r = z.map(logistic);
        let mut jacobian = SMatrix::<f64, 3, BANDS>::zeros();
        let mut right = SVector::<f64, 3>::zeros();
        let mut miss = 0.0;
        for axis in 0..3 {
            let mut seen = 0.0;
            for band in 0..BANDS {
                seen += rows[axis][band] * r[band];
                jacobian[(axis, band)] = rows[axis][band] * r[band] * (1.0 - r[band]);
                right[axis] += jacobian[(axis, band)] * (z[band] - mean[band]);
            }
            right[axis] += target[axis] - seen;
            miss += (target[axis] - seen) * (target[axis] - seen);
        }
        if miss < best.0 {
            best = (miss, z);
        }
        let spread = covariance * jacobian.transpose();
        let mut inner = jacobian * spread;
        for axis in 0..3 {
            let sd = colour_sd(target[axis]);
            inner[(axis, axis)] += sd * sd;
        }
        let Some(factor) = inner.cholesky() else {
            break;
        };
        let step = spread * factor.solve(&right);
        let mut largest: f64 = 0.0;
        for band in 0..BANDS {
            let change = (mean[band] + step[band] - z[band]).clamp(-2.0, 2.0);
            z[band] += change;
            largest = largest.max(change.abs());
        }
        if largest < least {
            return z;
        }
    }
    // Colours outside the reflectances' own gamut do not settle: the nearest seen on the way.
    best.1
}

fn logit(r: f64) -> f64 {
    libm::log(r / (1.0 - r))
}

fn logistic(z: f64) -> f64 {
    1.0 / (1.0 + libm::exp(-z))
}

/// Covariance of the logit spectrum: second differences of [`SMOOTH_SD`], level and slope almost free.
fn smoothness_covariance() -> &'static BandCovariance {
    static COVARIANCE: OnceLock<BandCovariance> = OnceLock::new();
    COVARIANCE.get_or_init(|| {
        let mut precision = roughness() / (SMOOTH_SD * SMOOTH_SD);
        for band in 0..BANDS {
            precision[(band, band)] += 1e-3;
        }
        invert_positive(precision)
    })
}

/// Mean and covariance of the logits of real reflectances.
fn usual_spectra() -> (&'static Bands, &'static BandCovariance) {
    static USUAL: OnceLock<(Bands, BandCovariance)> = OnceLock::new();
    let (mean, covariance) = USUAL.get_or_init(|| {
        let numbers: Vec<f64> = include_str!("spectrum/usual.csv")
            .split([',', '\n'])
            .filter_map(|number| number.trim().parse().ok())
            .collect();
        let row = |i: usize| &numbers[i * BANDS..][..BANDS];
        (
            std::array::from_fn(|b| row(0)[b]),
            BandCovariance::from_fn(|i, j| row(1 + i)[j]),
        )
    });
    (mean, covariance)
}

/// D^T D of the second differences D.
pub(crate) fn roughness() -> BandCovariance {
    let mut m = nalgebra::SMatrix::<f64, BANDS, BANDS>::zeros();
    for i in 0..BANDS - 2 {
        let row = [(i, 1.0), (i + 1, -2.0), (i + 2, 1.0)];
        for (p, x) in row {
            for (q, y) in row {
                m[(p, q)] += x * y;
            }
        }
    }
    m
}

/// Inverse of a symmetric positive definite matrix over the bands.
pub(crate) fn invert_positive(m: BandCovariance) -> BandCovariance {
    m.cholesky()
        .expect("a prior's precision is positive definite by construction")
        .inverse()
}
