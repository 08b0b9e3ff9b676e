//! Colours of films of any build over any ground, from spectra through exact transport.

use serde::Serialize;

use super::paints::InventedPaint;
use crate::{
    film::{Response, surface::to_internal, transport::Transport},
    spectrum::{BANDS, Bands},
};

/// The light transport that a scene is rendered with.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Light {
    /// Scattering anisotropy g, 0 to below 1.
    pub anisotropy: f64,
    /// Directions of the quadrature.
    pub directions: Directions,
}

/// How many directions light travels in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(into = "u8")]
pub enum Directions {
    /// 8: quick, for trials of the card finder (colours within about 0.1 CIEDE2000).
    Eight,
    /// 16: for benches.
    Sixteen,
    /// 24: for sample scans.
    TwentyFour,
}

impl From<Directions> for u8 {
    fn from(directions: Directions) -> Self {
        match directions {
            Directions::Eight => 8,
            Directions::Sixteen => 16,
            Directions::TwentyFour => 24,
        }
    }
}

impl Light {
    /// How one film of a paint answers any ground, by band, for each of several builds.
    pub fn responses(self, paint: &InventedPaint, builds: &[f64]) -> Vec<[Response; BANDS]> {
        match self.directions {
            Directions::Eight => responses::<8>(self.anisotropy, paint, builds),
            Directions::Sixteen => responses::<16>(self.anisotropy, paint, builds),
            Directions::TwentyFour => responses::<24>(self.anisotropy, paint, builds),
        }
    }

    /// Measured reflectance of one film over a ground of measured reflectance `ground`.
    pub fn film_over(self, paint: &InventedPaint, build: f64, ground: &Bands) -> Bands {
        over(&self.responses(paint, &[build])[0], ground)
    }
}

fn responses<const N: usize>(
    anisotropy: f64,
    paint: &InventedPaint,
    builds: &[f64],
) -> Vec<[Response; BANDS]> {
    let transport = Transport::<N>::new(anisotropy);
    let film = |band: usize, build: f64| {
        transport.stack(&[&transport.film(paint.absorption[band], paint.scattering[band], build)])
    };
    builds
        .iter()
        .map(|&build| std::array::from_fn(|band| film(band, build)))
        .collect()
}

/// Measured reflectance over a ground of measured reflectance `ground`.
pub fn over(film: &[Response; BANDS], ground: &Bands) -> Bands {
    std::array::from_fn(|band| film[band].over(to_internal(ground[band])))
}

/// Build below which steps of the [`Ladder`] are even; above it they grow with the build.
const KNEE: f64 = 0.02;
/// Distance of neighbouring rungs, in ln(1 + build/[`KNEE`]).
const STEP: f64 = 0.12;

/// How one paint answers any ground, for builds from 0 up to a largest one.
#[derive(Debug, Clone)]
pub struct Ladder {
    rungs: Vec<[Response; BANDS]>,
}

impl Ladder {
    /// Rungs for every build up to `most` reference films.
    pub fn new(light: Light, paint: &InventedPaint, most: f64) -> Self {
        let last = (libm::log(1.0 + most / KNEE) / STEP).ceil() as usize + 1;
        let builds: Vec<f64> = (0..=last)
            .map(|i| KNEE * (libm::exp(STEP * i as f64) - 1.0))
            .collect();
        Self {
            rungs: light.responses(paint, &builds),
        }
    }

    /// Colours over one ground in the channels of a sensor. `haze` is what a dull surface adds to every film.
    pub fn shades(&self, ground: &Bands, channels: &[Bands; 3], haze: f64) -> Shades {
        let see = |spectrum: Bands, haze: f64| {
            channels.map(|channel| {
                channel
                    .iter()
                    .zip(&spectrum)
                    .map(|(w, r)| w * (r + haze))
                    .sum()
            })
        };
        Shades {
            bare: see(*ground, 0.0),
            rungs: self
                .rungs
                .iter()
                .map(|rung| see(over(rung, ground), haze))
                .collect(),
        }
    }
}

/// Colours of one paint over one ground by build, in the three channels of a sensor.
#[derive(Debug, Clone)]
pub struct Shades {
    bare: [f64; 3],
    /// Rung 0 is a film of build 0: the bare ground but for the quadrature's rounding and the haze of a dull surface.
    rungs: Vec<[f64; 3]>,
}

impl Shades {
    /// Colour at a build (0: the bare ground), by cubic interpolation. Builds beyond the ladder give its last rung.
    pub fn at(&self, build: f64) -> [f64; 3] {
        if build <= 0.0 {
            return self.bare;
        }
        let last = self.rungs.len() - 1;
        let t = (libm::log(1.0 + build / KNEE) / STEP).min(last as f64);
        let i = (t as usize).min(last - 1);
        let f = t - i as f64;
        std::array::from_fn(|c| {
            let rung = |j: usize| self.rungs[j][c];
            let (b, d) = (rung(i), rung(i + 1));
            // Beyond the ends the parabola through the last three rungs goes on.
            let a = if i > 0 {
                rung(i - 1)
            } else {
                3.0 * b - 3.0 * d + rung(i + 2)
            };
            let e = if i + 2 <= last {
                rung(i + 2)
            } else {
                3.0 * d - 3.0 * b + a
            };
            catmull_rom(a, b, d, e, f)
        })
    }
}

/// Cubic through `b` and `d` with the slopes of their neighbours (Catmull and Rom 1974).
fn catmull_rom(a: f64, b: f64, d: f64, e: f64, f: f64) -> f64 {
    b + 0.5 * f * (d - a + f * (2.0 * a - 5.0 * b + 4.0 * d - e + f * (3.0 * (b - d) + e - a)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::{paints, sensor::Sensor};

    const LIGHT: Light = Light {
        anisotropy: 0.6,
        directions: Directions::Eight,
    };

    #[test]
    fn between_rungs_the_ladder_is_exact_enough_for_sixteen_bits() {
        let sensor = Sensor::ideal();
        for (name, ground) in [
            ("rose lake", 0.84),
            ("dense white", 0.035),
            ("smoke blue", 0.035),
            ("night blue", 0.84),
        ] {
            let paint = paints::named(name).unwrap();
            let ground = [ground; BANDS];
            let shades = Ladder::new(LIGHT, &paint, 4.0).shades(&ground, &sensor.channels, 0.0);
            for build in [0.003, 0.05, 0.3, 0.77, 1.0, 2.6, 4.0] {
                let exact = sensor.see(&LIGHT.film_over(&paint, build, &ground));
                let close = shades
                    .at(build)
                    .iter()
                    .zip(exact)
                    .all(|(x, y)| (x - y).abs() < 1.5e-5);
                assert!(close, "{name} {build}: {:?} {exact:?}", shades.at(build));
            }
        }
    }

    #[test]
    fn no_film_is_the_bare_ground() {
        let paint = paints::named("rose lake").unwrap();
        let ground: Bands = std::array::from_fn(|i| 0.2 + 0.02 * i as f64);
        let sensor = Sensor::ideal();
        let light = Light {
            directions: Directions::TwentyFour,
            ..LIGHT
        };
        let shades = Ladder::new(light, &paint, 0.1).shades(&ground, &sensor.channels, 0.0);
        let bare = sensor.see(&ground);
        assert_eq!(shades.at(0.0), bare);
        // Twenty-four directions see what the surface returns within 0.03 %.
        let thin = shades.at(1e-9);
        let close = thin.iter().zip(bare).all(|(x, y)| (x - y).abs() < 3e-4);
        assert!(close, "{thin:?} {bare:?}");
    }
}
