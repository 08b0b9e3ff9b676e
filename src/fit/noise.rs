//! What a scanner adds to all cells of a card alike.
//!
//! Two errors are shared by the cells and would look like paint if each cell were taken by itself: a scanner's channels
//! are not the eye's, and its zero may be off. Neither is solved for. They stand in the covariance of the data instead, which is the same as solving for them with a normal prior and averaging over the
//! answer (Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), 2.7).

use nalgebra::DMatrix;

use crate::spectrum::{BANDS, Bands, STEP_NM};

/// Standard deviations of the shared errors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scanner {
    /// How far a channel's sensitivity is from the one its profile claims, relative to that channel's mean sensitivity.
    pub sensitivity: f64,
    /// Zero error of a channel, in linear reflectance.
    pub zero: f64,
}

/// Distance over which a sensitivity's error stays alike, in nm: filters and LEDs are about this wide.
const ALIKE_NM: f64 = 25.0;

/// What of a datum a shared error acts on.
#[derive(Debug, Clone, PartialEq)]
pub struct Exposed {
    /// Weights of the file's three channels in the datum.
    pub channels: [f64; 3],
    /// Share of an error of the bare stripe's reflectance that comes back through the film, by channel: the stripe is measured
    /// by the same scanner, so a zero error cancels where the film lets everything through.
    pub through: [f64; 3],
    /// Reflectance spectrum of the cell, as well as it is known.
    pub spectrum: Bands,
}

/// Covariance of the data that a scanner's errors make.
///
/// A profile's matrix is fitted to common colours, so the error vanishes for spectra like theirs. Those are nearly a
/// constant, a slope and a bend (the first three principal components of reflectance sets); what a spectrum has beyond
/// them is exposed.
pub fn of_scanner(scanner: &Scanner, data: &[Exposed]) -> DMatrix<f64> {
    let kernel = sensitivity_kernel();
    let unusual: Vec<Bands> = data
        .iter()
        .map(|d| without_quadratic(&d.spectrum))
        .collect();
    let spread: Vec<Bands> = unusual
        .iter()
        .map(|u| std::array::from_fn(|i| (0..BANDS).map(|j| kernel[i][j] * u[j]).sum()))
        .collect();
    let sensitivity = scanner.sensitivity / BANDS as f64;
    let one = |i: usize, j: usize| {
        let (a, b) = (&data[i], &data[j]);
        let over_channels = |of: &dyn Fn(&Exposed, usize) -> f64| -> f64 {
            (0..3).map(|c| of(a, c) * of(b, c)).sum()
        };
        let colour: f64 = (0..BANDS)
            .map(|band| unusual[i][band] * spread[j][band])
            .sum();
        sensitivity * sensitivity * colour * over_channels(&|d, c| d.channels[c])
            + scanner.zero
                * scanner.zero
                * over_channels(&|d, c| d.channels[c] * (1.0 - d.through[c]))
    };
    let mut covariance = DMatrix::zeros(data.len(), data.len());
    for i in 0..data.len() {
        for j in 0..=i {
            covariance[(i, j)] = one(i, j);
            covariance[(j, i)] = covariance[(i, j)];
        }
    }
    covariance
}

fn sensitivity_kernel() -> [[f64; BANDS]; BANDS] {
    std::array::from_fn(|i| {
        std::array::from_fn(|j| {
            let d = (i as f64 - j as f64) * STEP_NM / ALIKE_NM;
            libm::exp(-0.5 * d * d)
        })
    })
}

/// The spectrum less its best constant, slope and bend (discrete Legendre polynomials up to degree two).
fn without_quadratic(spectrum: &Bands) -> Bands {
    let mut rest = *spectrum;
    let x = |b: usize| 2.0 * b as f64 / (BANDS - 1) as f64 - 1.0;
    let mean_square = (0..BANDS).map(|b| x(b) * x(b)).sum::<f64>() / BANDS as f64;
    let shapes: [Bands; 3] = [
        [1.0; BANDS],
        std::array::from_fn(x),
        // Orthogonal to the constant; orthogonal to the slope by symmetry.
        std::array::from_fn(|b| x(b) * x(b) - mean_square),
    ];
    for shape in shapes {
        let norm: f64 = shape.iter().map(|s| s * s).sum();
        let share = shape.iter().zip(&rest).map(|(s, r)| s * r).sum::<f64>() / norm;
        rest.iter_mut()
            .zip(&shape)
            .for_each(|(r, s)| *r -= share * s);
    }
    rest
}

#[cfg(test)]
mod tests {
    use super::*;

    fn datum(spectrum: Bands) -> Exposed {
        Exposed {
            channels: [1.0, 0.0, 0.0],
            through: [0.0; 3],
            spectrum,
        }
    }

    #[test]
    fn common_spectra_are_not_exposed() {
        let smooth = std::array::from_fn(|b| 0.2 + 0.01 * b as f64 + 0.0003 * (b * b) as f64);
        let cov = of_scanner(
            &Scanner {
                sensitivity: 1.0,
                zero: 0.0,
            },
            &[datum(smooth), datum([0.5; BANDS])],
        );
        assert!(cov.amax() < 1e-24, "{cov}");
    }

    #[test]
    fn sharp_spectra_are() {
        let sharp = std::array::from_fn(|b| if b < 18 { 0.02 } else { 0.7 });
        let cov = of_scanner(
            &Scanner {
                sensitivity: 1.0,
                zero: 0.0,
            },
            &[datum(sharp), datum(sharp.map(|v| 0.5 * v))],
        );
        assert!(cov[(0, 0)] > 1e-4);
        // Half the contrast, half the error, and the same sign.
        assert!((cov[(0, 1)] / cov[(0, 0)] - 0.5).abs() < 1e-12);
    }

    #[test]
    fn a_zero_error_cancels_where_the_stripe_shows_through() {
        let scanner = Scanner {
            sensitivity: 0.0,
            zero: 0.005,
        };
        let bare = Exposed {
            through: [1.0; 3],
            ..datum([0.04; BANDS])
        };
        let hidden = datum([0.04; BANDS]);
        let cov = of_scanner(&scanner, &[bare, hidden]);
        assert_eq!((cov[(0, 0)], cov[(0, 1)]), (0.0, 0.0));
        assert!((cov[(1, 1)] - 2.5e-5).abs() < 1e-18);
    }
}
