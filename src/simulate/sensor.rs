//! What a scanner's sensor sees: invented curves of common kinds, and the matrix that its driver would use.

use nalgebra::{DMatrix, Matrix3, Vector3};
use serde::Serialize;

use super::space::Space;
use crate::{
    colour::WHITE,
    spectrum::{BANDS, Bands, to_xyz_rows, wavelengths},
};

/// Kinds of sensor. All curves are invented.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Kind {
    /// Sees as the standard observer does.
    Ideal,
    /// A fluorescent lamp with broad filters.
    Lamp,
    /// A white light-emitting diode with broad filters.
    WhiteLed,
    /// Three narrow light-emitting diodes, lit in turn.
    ThreeLeds,
}

/// A sensor: three channels, and the matrix from them to XYZ.
#[derive(Debug, Clone)]
pub struct Sensor {
    /// Weights of the bands by channel, each summing to 1: a perfect diffuser gives 1, 1, 1.
    pub channels: [Bands; 3],
    /// Columns are channels: what the driver believes to be XYZ. A perfect diffuser gives the connection white.
    pub to_xyz: Matrix3<f64>,
}

impl Sensor {
    /// The sensor of a kind.
    pub fn of(kind: Kind) -> Self {
        match kind {
            Kind::Ideal => Self::ideal(),
            Kind::Lamp => Self::characterised(|w| {
                let lines = [
                    (436.0, 1.1),
                    (490.0, 0.65),
                    (545.0, 1.4),
                    (585.0, 0.75),
                    (611.0, 1.1),
                ];
                let light = 0.35
                    + lines
                        .map(|(nm, power)| hump(w, nm, 13.0, power))
                        .iter()
                        .sum::<f64>();
                filters(w).map(|f| f * light)
            }),
            Kind::WhiteLed => Self::characterised(|w| {
                let light = hump(w, 452.0, 12.0, 1.5) + hump(w, 565.0, 55.0, 1.0);
                filters(w).map(|f| f * light)
            }),
            Kind::ThreeLeds => Self::characterised(|w| {
                [
                    hump(w, 622.0, 9.0, 1.0),
                    hump(w, 528.0, 17.0, 1.0),
                    hump(w, 460.0, 11.0, 1.0),
                ]
            }),
        }
    }

    /// A sensor whose channels are the colour matching functions, recast as wide primaries.
    pub fn ideal() -> Self {
        let to_xyz = keep_white(Space::Romm.to_xyz());
        let from_xyz = to_xyz.try_inverse().expect("primaries are independent");
        let rows = to_xyz_rows();
        let weight = |c: usize, band: usize| {
            (0..3)
                .map(|axis| from_xyz[(c, axis)] * rows[axis][band])
                .sum()
        };
        let channels = std::array::from_fn(|c| std::array::from_fn(|band| weight(c, band)));
        Self { channels, to_xyz }
    }

    fn characterised(curves: impl Fn(f64) -> [f64; 3]) -> Self {
        let at = wavelengths().map(curves);
        let channels = std::array::from_fn(|c| {
            let sum: f64 = at.iter().map(|v| v[c]).sum();
            at.map(|v| v[c] / sum)
        });
        Self {
            channels,
            to_xyz: keep_white(driver_matrix(&channels)),
        }
    }

    /// Channels of a reflectance spectrum.
    pub fn see(&self, reflectance: &Bands) -> [f64; 3] {
        self.channels
            .map(|channel| channel.iter().zip(reflectance).map(|(w, r)| w * r).sum())
    }

    /// What the driver makes of three channels.
    pub fn xyz(&self, channels: [f64; 3]) -> [f64; 3] {
        (self.to_xyz * Vector3::from(channels)).into()
    }
}

/// Rows scaled so that 1, 1, 1 gives the connection white exactly.
fn keep_white(mut to_xyz: Matrix3<f64>) -> Matrix3<f64> {
    for (axis, white) in WHITE.iter().enumerate() {
        let scale = white / to_xyz.row(axis).sum();
        to_xyz.row_mut(axis).iter_mut().for_each(|m| *m *= scale);
    }
    to_xyz
}

fn hump(nm: f64, centre: f64, width: f64, height: f64) -> f64 {
    let x = (nm - centre) / width;
    height * libm::exp(-0.5 * x * x)
}

/// Broad red, green and blue filters that overlap, the red one also leaking a little blue.
fn filters(nm: f64) -> [f64; 3] {
    let above = |edge: f64, width: f64| 1.0 / (1.0 + libm::exp(-(nm - edge) / width));
    [
        above(574.0, 6.5) + hump(nm, 435.0, 22.0, 0.13),
        hump(nm, 537.0, 38.0, 1.0),
        hump(nm, 459.0, 26.0, 1.0),
    ]
}

/// Least-squares matrix from channels to XYZ over greys and invented chips, the white weighted so that it holds.
fn driver_matrix(channels: &[Bands; 3]) -> Matrix3<f64> {
    let chips = chips();
    let rows = to_xyz_rows();
    let dot = |weights: &Bands, spectrum: &Bands| {
        weights
            .iter()
            .zip(spectrum)
            .map(|(w, r)| w * r)
            .sum::<f64>()
    };
    let seen = DMatrix::from_fn(chips.len(), 3, |i, c| {
        chips[i].1 * dot(&channels[c], &chips[i].0)
    });
    let wanted = DMatrix::from_fn(chips.len(), 3, |i, axis| {
        chips[i].1 * dot(&rows[axis], &chips[i].0)
    });
    let normal = seen.transpose() * &seen;
    let solved = normal
        .lu()
        .solve(&(seen.transpose() * wanted))
        .expect("three channels see differently");
    Matrix3::from_fn(|axis, c| solved[(c, axis)])
}

/// Spectra that the driver was made with, and their weights.
fn chips() -> Vec<(Bands, f64)> {
    let of = |f: &dyn Fn(f64) -> f64| wavelengths().map(f);
    let above = |nm: f64, edge: f64, width: f64| 1.0 / (1.0 + libm::exp(-(nm - edge) / width));
    let mut chips = vec![([1.0; BANDS], 30.0)];
    chips.extend([0.03, 0.1, 0.3, 0.6].map(|grey| ([grey; BANDS], 3.0)));
    for edge in [470.0, 500.0, 530.0, 560.0, 590.0, 620.0] {
        chips.push((of(&|w| 0.05 + 0.7 * above(w, edge, 14.0)), 1.0));
        chips.push((of(&|w| 0.60 - 0.5 * above(w, edge, 22.0)), 1.0));
    }
    for centre in [430.0, 460.0, 490.0, 520.0, 550.0, 580.0] {
        chips.push((of(&|w| 0.06 + hump(w, centre, 35.0, 0.4)), 1.0));
        chips.push((of(&|w| 0.55 - hump(w, centre, 40.0, 0.35)), 1.0));
    }
    chips
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        colour::{Xyz, difference, lab},
        simulate::{
            paints,
            shades::{Directions, Light},
        },
        spectrum::xyz_of,
    };

    #[test]
    fn white_is_white_for_every_sensor() {
        for kind in [Kind::Ideal, Kind::Lamp, Kind::WhiteLed, Kind::ThreeLeds] {
            let sensor = Sensor::of(kind);
            let seen = sensor.see(&[1.0; BANDS]);
            assert!(
                seen.iter().all(|v| (v - 1.0).abs() < 1e-12),
                "{kind:?} {seen:?}"
            );
            let white = sensor.xyz(seen);
            assert!(
                white.iter().zip(WHITE).all(|(x, w)| (x - w).abs() < 1e-12),
                "{kind:?} {white:?}"
            );
        }
    }

    #[test]
    fn the_ideal_sensor_sees_as_the_observer_and_the_others_err_by_their_kind() {
        let light = Light {
            anisotropy: 0.0,
            directions: Directions::Eight,
        };
        let mut means = Vec::new();
        for kind in [Kind::Ideal, Kind::Lamp, Kind::WhiteLed, Kind::ThreeLeds] {
            let sensor = Sensor::of(kind);
            let errors: Vec<f64> = paints::all()
                .iter()
                .map(|paint| {
                    let spectrum = light.film_over(paint, 1.0, &[0.84; BANDS]);
                    let [x, y, z] = sensor.xyz(sensor.see(&spectrum));
                    difference(lab(Xyz::new(x, y, z)), lab(xyz_of(&spectrum)))
                })
                .collect();
            means.push(errors.iter().sum::<f64>() / errors.len() as f64);
        }
        assert!(means[0] < 1e-9, "{means:?}");
        assert!(means[1] > 0.3 && means[1] < 2.5, "{means:?}");
        assert!(means[3] > means[1], "{means:?}");
    }
}
