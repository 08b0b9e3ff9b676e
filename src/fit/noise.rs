//! What a scanner adds to all cells of a card alike.
//!
//! Three errors are shared by the cells and would look like paint if each cell were taken by itself: a scanner's channels are not the
//! eye's, its zero and its level may be off. What channels usually differ by ([`super::sensors`]) is taken off the data; what varies, the
//! zero and the level are not solved for. They stand in the covariance of the data instead, which is the same as solving for them with a
//! normal prior and averaging over the answer (Rasmussen and Williams, Gaussian Processes for Machine Learning (2006), 2.7).

use nalgebra::{DMatrix, DVector};

use super::sensors::{Group, Sensors};
use crate::spectrum::{BANDS, Bands};

/// What a scanner may be like.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scanner {
    /// How its sensor differs from the eye.
    pub sensor: Group,
    /// Zero error of a channel, in linear reflectance: its standard deviation.
    pub zero: f64,
    /// Error of the level, as a share: its white may not be a perfect diffuser. Standard deviation.
    pub level: f64,
}

/// What of a datum a shared error acts on.
#[derive(Debug, Clone, PartialEq)]
pub struct Exposed {
    /// Weights of X, Y and Z in the datum.
    pub axes: [f64; 3],
    /// Weights of the file's three channels in the datum.
    pub channels: [f64; 3],
    /// Share of an error of the bare stripe's reflectance that comes back through the film, by channel: the stripe is measured
    /// by the same scanner, so a zero error cancels where the film lets everything through.
    pub through: [f64; 3],
    /// What of the datum is the film's own light and not the stripe's through it: the stripe is measured with the same level, so
    /// a clear film over white is right whatever the level.
    pub own_light: f64,
    /// Reflectance spectrum of the cell, as well as it is known.
    pub spectrum: Bands,
}

/// What a scanner's errors do to data: how far they are off on average, and the covariance of that.
pub fn of_scanner(scanner: &Scanner, data: &[Exposed]) -> (DVector<f64>, DMatrix<f64>) {
    let sensors = Sensors::of(scanner.sensor);
    let offset = |curves: &[Bands; 3], datum: &Exposed| -> f64 {
        (0..3)
            .map(|axis| {
                let seen: f64 = (0..BANDS)
                    .map(|band| curves[axis][band] * datum.spectrum[band])
                    .sum();
                datum.axes[axis] * seen
            })
            .sum()
    };
    let mean = DVector::from_iterator(
        data.len(),
        data.iter().map(|datum| offset(&sensors.mean, datum)),
    );
    let spread = DMatrix::from_fn(data.len(), sensors.spread.len(), |i, part| {
        offset(&sensors.spread[part], &data[i])
    });
    let mut covariance = &spread * spread.transpose();
    for i in 0..data.len() {
        for j in 0..data.len() {
            let (a, b) = (&data[i], &data[j]);
            let zero: f64 = (0..3)
                .map(|c| {
                    a.channels[c] * (1.0 - a.through[c]) * b.channels[c] * (1.0 - b.through[c])
                })
                .sum();
            covariance[(i, j)] += scanner.zero * scanner.zero * zero
                + scanner.level * scanner.level * a.own_light * b.own_light;
        }
    }
    (mean, covariance)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn datum(spectrum: Bands) -> Exposed {
        Exposed {
            axes: [1.0, 0.0, 0.0],
            channels: [1.0, 0.0, 0.0],
            through: [0.0; 3],
            own_light: 0.0,
            spectrum,
        }
    }

    /// White, greys and black are what they are for every sensor.
    #[test]
    fn greys_are_not_exposed() {
        for sensor in Group::STORED {
            let scanner = Scanner {
                sensor,
                zero: 0.0,
                level: 0.0,
            };
            let (off, cov) = of_scanner(&scanner, &[datum([1.0; BANDS]), datum([0.2; BANDS])]);
            assert!(off.amax() < 1e-3, "{sensor:?} {off}");
            assert!(cov.amax() < 1e-6, "{sensor:?} {cov}");
        }
    }

    #[test]
    fn steep_spectra_are() {
        let steep = std::array::from_fn(|b| if b < 18 { 0.02 } else { 0.7 });
        let half = steep.map(|v| 0.5 * v);
        for sensor in [Group::Good, Group::White, Group::Three, Group::Camera] {
            let scanner = Scanner {
                sensor,
                zero: 0.0,
                level: 0.0,
            };
            let (off, cov) = of_scanner(&scanner, &[datum(steep), datum(half)]);
            assert!(cov[(0, 0)] > 1e-6, "{sensor:?} {cov}");
            // Half the light, half the error, and the same sign.
            assert!((cov[(0, 1)] / cov[(0, 0)] - 0.5).abs() < 1e-9);
            assert!((off[1] - 0.5 * off[0]).abs() < 1e-12);
        }
    }

    #[test]
    fn a_zero_error_cancels_where_the_stripe_shows_through() {
        let scanner = Scanner {
            sensor: Group::Good,
            zero: 0.005,
            level: 0.0,
        };
        let bare = Exposed {
            through: [1.0; 3],
            ..datum([0.04; BANDS])
        };
        let hidden = datum([0.04; BANDS]);
        let (_, cov) = of_scanner(&scanner, &[bare, hidden]);
        // Greys are exposed to next to nothing else.
        assert!(cov[(0, 0)].abs() < 1e-9 && cov[(0, 1)].abs() < 1e-9);
        assert!((cov[(1, 1)] - 2.5e-5).abs() < 1e-9);
    }
}
