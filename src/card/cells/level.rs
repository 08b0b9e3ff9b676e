//! Shading and glare, as far as the bare white stripes show them, taken out of every cell.
//!
//! What the scanner sees is `v exp(p(u, v)) (1 + g m)`: p a quadratic surface, one a channel, and m the mean of what lies
//! around, so that a cell under a dark film gets less light than a bare one (measured on one flatbed: g = 0.18 to 0.22,
//! reaching about 25 mm; linear ratios of a published pair of white and black surrounds). Both are solved together from
//! the logarithms of the bare white pieces. Where there is little bare white, priors hold them back, and what remains
//! unknown goes into the standard deviations of the cells.

use nalgebra::{DMatrix, DVector};

use super::{Levelled, robust::Summary};
use crate::{
    card::{Layout, rectify::Frame},
    scan::Scan,
};

/// Prior standard deviations of the surface's terms over half the card, as shares of the light: linear and quadratic.
/// Ours: flatbeds are calibrated to a few percent over the whole page.
const LINEAR: f64 = 0.03;
const QUADRATIC: f64 = 0.015;
/// Prior of the glare g: between a scanner without and one with the full 0.2.
const GLARE: (f64, f64) = (0.1, 0.07);
/// Where glare comes from: the radius of two standard deviations of a Gaussian (mm).
const REACH: f64 = 25.0;
/// How much pieces of one white differ by themselves, as a share (ours).
const WHITE_DIFFERS: f64 = 0.006;
/// Share of clipped pixels from which a piece tells nothing of the light.
const CLIPPED: f64 = 0.02;
/// Terms of one channel's surface: 1, u, v, u u, u v, v v.
const TERMS: usize = 6;
/// All unknowns: three surfaces and the glare.
const UNKNOWNS: usize = 3 * TERMS + 1;

/// One piece of bare white.
pub(super) struct Sight {
    /// Its middle on the card.
    pub(super) at: [f64; 2],
    /// Mean in additive space.
    pub(super) value: [f64; 3],
    /// Standard deviation of the mean.
    pub(super) sd: [f64; 3],
    /// Share of clipped pixels.
    pub(super) clipped: [f64; 3],
}

/// The light on a card.
pub(super) struct Levelling {
    size: [f64; 2],
    surroundings: Surroundings,
    solution: DVector<f64>,
    covariance: DMatrix<f64>,
    /// What places are compared with: the mean of all rows of the bare white pieces, by channel.
    reference: [DVector<f64>; 3],
    shading: f64,
}

impl Levelling {
    pub(super) fn new(sights: &[Sight], scan: &Scan, layout: &Layout, frame: &Frame) -> Self {
        let mut levelling = Self {
            size: layout.size,
            surroundings: Surroundings::new(scan, layout, frame),
            solution: DVector::zeros(UNKNOWNS),
            covariance: DMatrix::identity(UNKNOWNS, UNKNOWNS),
            reference: std::array::from_fn(|_| DVector::zeros(UNKNOWNS)),
            shading: 0.0,
        };
        if sights.is_empty() {
            return levelling;
        }
        levelling.reference = std::array::from_fn(|c| {
            let sum = sights
                .iter()
                .map(|sight| levelling.row(sight.at, c))
                .sum::<DVector<f64>>();
            sum / sights.len() as f64
        });
        levelling.solve(sights);
        levelling.shading = levelling.range(sights);
        levelling
    }

    /// The unknowns' shares in the logarithm of one channel at a place.
    fn row(&self, at: [f64; 2], c: usize) -> DVector<f64> {
        let [u, v] = [0, 1].map(|axis| 2.0 * at[axis] / self.size[axis] - 1.0);
        let mut row = DVector::zeros(UNKNOWNS);
        for (term, value) in [1.0, u, v, u * u, u * v, v * v].into_iter().enumerate() {
            row[c * TERMS + term] = value;
        }
        row[UNKNOWNS - 1] = self.surroundings.at(at)[c];
        row
    }

    fn contrast(&self, at: [f64; 2], c: usize) -> DVector<f64> {
        self.row(at, c) - &self.reference[c]
    }

    /// Least squares with priors; pieces that do not fit (smeared, yellowed by oil) count less (Huber).
    fn solve(&mut self, sights: &[Sight]) {
        let (expected, prior) = self.prior();
        let data: Vec<(DVector<f64>, f64, f64)> = sights
            .iter()
            .flat_map(|sight| (0..3).map(move |c| (sight, c)))
            .filter(|(sight, c)| sight.value[*c] > 0.02 && sight.clipped[*c] < CLIPPED)
            .map(|(sight, c)| {
                let own = sight.sd[c] / sight.value[c];
                let sd = (own * own + WHITE_DIFFERS * WHITE_DIFFERS).sqrt();
                (self.row(sight.at, c), libm::log(sight.value[c]), sd)
            })
            .collect();
        let mut tamed = vec![1.0; data.len()];
        self.solution = expected.clone();
        for _ in 0..8 {
            let mut matrix = prior.clone();
            let mut side = &prior * &expected;
            for ((row, value, sd), tame) in data.iter().zip(&tamed) {
                let weight = tame / (sd * sd);
                matrix.ger(weight, row, row, 1.0);
                side.axpy(weight * value, row, 1.0);
            }
            let Some(factor) = matrix.cholesky() else {
                return;
            };
            self.solution = factor.solve(&side);
            self.covariance = factor.inverse();
            for ((row, value, sd), tame) in data.iter().zip(&mut tamed) {
                let off = (value - row.dot(&self.solution)).abs() / sd;
                *tame = if off > 2.0 { 2.0 / off } else { 1.0 };
            }
        }
    }

    /// Prior mean and inverse covariance.
    fn prior(&self) -> (DVector<f64>, DMatrix<f64>) {
        let mut expected = DVector::zeros(UNKNOWNS);
        let mut precision = DVector::zeros(UNKNOWNS);
        for c in 0..3 {
            // The level itself is free: from 0.02 to 1 in four standard deviations.
            for (term, sd) in [1.0, LINEAR, LINEAR, QUADRATIC, QUADRATIC, QUADRATIC]
                .into_iter()
                .enumerate()
            {
                precision[c * TERMS + term] = 1.0 / (sd * sd);
            }
        }
        // log(1 + g m) about the mean surroundings of the bare pieces.
        let usual = (0..3).map(|c| self.reference[c][UNKNOWNS - 1]).sum::<f64>() / 3.0;
        let slope = 1.0 / (1.0 + GLARE.0 * usual);
        expected[UNKNOWNS - 1] = GLARE.0 * slope;
        precision[UNKNOWNS - 1] = 1.0 / (GLARE.1 * slope * GLARE.1 * slope);
        (expected, DMatrix::from_diagonal(&precision))
    }

    /// Takes the light's differences out of a cell.
    pub(super) fn apply(&self, at: [f64; 2], mut seen: Summary) -> Summary {
        for c in 0..3 {
            let contrast = self.contrast(at, c);
            let light = libm::exp(contrast.dot(&self.solution));
            let variance = contrast.dot(&(&self.covariance * &contrast));
            seen.mean[c] /= light;
            seen.sd[c] /= light;
            seen.spread[c] /= light;
            seen.parts.iter_mut().for_each(|part| part[c] /= light);
            seen.relative_sd[c] = variance.max(0.0).sqrt();
        }
        seen
    }

    /// Largest ratio of the shading between two bare pieces, less one.
    fn range(&self, sights: &[Sight]) -> f64 {
        let surface = |sight: &Sight| {
            let mut row = self.contrast(sight.at, 1);
            row[UNKNOWNS - 1] = 0.0;
            row.dot(&self.solution)
        };
        let low = sights.iter().map(surface).fold(f64::INFINITY, f64::min);
        let high = sights.iter().map(surface).fold(f64::NEG_INFINITY, f64::max);
        libm::exp(high - low) - 1.0
    }

    pub(super) fn summary(&self) -> Levelled {
        let usual = self.reference[1][UNKNOWNS - 1];
        let slope = self.solution[UNKNOWNS - 1];
        // Back from the slope of log(1 + g m) to g.
        let glare = slope / (1.0 - slope * usual).max(0.5);
        Levelled {
            shading: self.shading,
            glare,
            black_differs: 0.0,
        }
    }
}

/// The mean of what lies around each place, in additive space.
struct Surroundings {
    frame: Frame,
    /// Upper left corner of the map in pixels of the scan, and pixels of one step.
    origin: [f64; 2],
    step: f64,
    columns: usize,
    rows: usize,
    values: Vec<[f64; 3]>,
}

/// Steps of the map in one standard deviation of the glare.
const STEPS: f64 = 6.0;

impl Surroundings {
    fn new(scan: &Scan, layout: &Layout, frame: &Frame) -> Self {
        let millimetre = if layout.millimetres {
            1.0
        } else {
            1.0 / super::zones::USUAL_STRIPE
        };
        let middle = layout.size.map(|size| 0.5 * size);
        let (a, b) = (
            frame.to_scan(middle),
            frame.to_scan([middle[0] + millimetre, middle[1]]),
        );
        let deviation = 0.5 * REACH * libm::hypot(b[0] - a[0], b[1] - a[1]);
        let step = (deviation / STEPS).max(1.0);
        let margin = 3.0 * deviation;
        let span = |axis: usize, end: usize| {
            let places = layout
                .corners
                .map(|corner| corner[axis].clamp(0.0, end as f64));
            let low = (places.iter().copied().fold(f64::INFINITY, f64::min) - margin).max(0.0);
            let high = (places.iter().copied().fold(0.0, f64::max) + margin).min(end as f64);
            (low, (((high - low) / step).ceil() as usize).clamp(1, 2000))
        };
        let ((left, columns), (top, rows)) = (span(0, scan.width), span(1, scan.height));
        let mut map = Self {
            frame: frame.clone(),
            origin: [left, top],
            step,
            columns,
            rows,
            values: Vec::new(),
        };
        map.values = (0..rows * columns)
            .map(|i| map.look(scan, i % columns, i / columns))
            .collect();
        map.blur();
        map
    }

    /// Mean over a few pixels of one step.
    fn look(&self, scan: &Scan, column: usize, row: usize) -> [f64; 3] {
        const LOOKS: usize = 4;
        let pixel = |origin: f64, i: usize, look: usize, end: usize| {
            let place = origin + (i as f64 + (look as f64 + 0.5) / LOOKS as f64) * self.step;
            (place.max(0.0) as usize).min(end - 1)
        };
        let mut sum = [0.0; 3];
        for look in 0..LOOKS * LOOKS {
            let x = pixel(self.origin[0], column, look % LOOKS, scan.width);
            let y = pixel(self.origin[1], row, look / LOOKS, scan.height);
            let value = scan.profile.additive_of(scan.code(x, y));
            (0..3).for_each(|c| sum[c] += value[c].max(0.0));
        }
        sum.map(|s| s / (LOOKS * LOOKS) as f64)
    }

    /// Gaussian mean; beyond the picture its border goes on.
    fn blur(&mut self) {
        let reach = (3.0 * STEPS) as isize;
        let mut weights: Vec<f64> = (-reach..=reach)
            .map(|i| libm::exp(-0.5 * (i as f64 / STEPS) * (i as f64 / STEPS)))
            .collect();
        let total: f64 = weights.iter().sum();
        weights.iter_mut().for_each(|w| *w /= total);
        let mean = |values: &[[f64; 3]], index: &dyn Fn(isize) -> usize| {
            let mut sum = [0.0; 3];
            for (i, weight) in (-reach..=reach).zip(&weights) {
                let value = values[index(i)];
                (0..3).for_each(|c| sum[c] += weight * value[c]);
            }
            sum
        };
        let (columns, rows) = (self.columns, self.rows);
        let near =
            |i: usize, by: isize, end: usize| (i as isize + by).clamp(0, end as isize - 1) as usize;
        let across: Vec<[f64; 3]> = (0..rows * columns)
            .map(|i| {
                mean(&self.values, &|by| {
                    i / columns * columns + near(i % columns, by, columns)
                })
            })
            .collect();
        self.values = (0..rows * columns)
            .map(|i| {
                mean(&across, &|by| {
                    near(i / columns, by, rows) * columns + i % columns
                })
            })
            .collect();
    }

    /// The mean around a place on the card.
    fn at(&self, at: [f64; 2]) -> [f64; 3] {
        let place = self.frame.to_scan(at);
        let index = |axis: usize, end: usize| {
            (((place[axis] - self.origin[axis]) / self.step).max(0.0) as usize).min(end - 1)
        };
        self.values[index(1, self.rows) * self.columns + index(0, self.columns)]
    }
}
