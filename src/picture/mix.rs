//! Direct mixes: K and S add in proportion to the shares (Duncan, J. Oil Colour Chem. Assoc. 32 (1949) 296, from memory),
//! if shares are counted in one unit of film. Cards drawn with different gauges have none.

use nalgebra::SVector;

use crate::{
    colour::{self, Lab},
    film::table::{self, Table},
    paint::{Constants, Covariance, Seen, UNKNOWNS},
    spectrum::{self, BANDS, Bands},
};

/// How well the films of two cards compare.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// Each film weighed, parts by weight.
    Weighed,
    /// Drawn with the same gauge.
    Common,
    /// Compared by tints of known ratio, each of which says how surely.
    Tinted,
    /// Not known to be: one may be twice the other.
    Unknown,
}

impl Unit {
    /// Standard deviation of the logarithm of a tube's share: a factor of 1.1 where films were weighed, of 1.2 with one
    /// gauge or by a usual tint, of 2 without, nine times in ten within it (ours).
    pub fn log_sd(self) -> f64 {
        let factor: f64 = match self {
            Self::Weighed => 1.1,
            Self::Tinted => 1.2,
            Self::Common => 1.2,
            Self::Unknown => 2.0,
        };
        libm::log(factor) / 1.645
    }
}

/// Paints mixed in shares, which need not add up to one.
///
/// Panics without any share above 0.
pub fn mix(parts: &[(&Constants, f64)], unit: Unit) -> Constants {
    let sd = unit.log_sd();
    let parts: Vec<_> = parts
        .iter()
        .map(|(paint, share)| (*paint, *share, sd))
        .collect();
    mix_each(&parts)
}

/// The same where the logarithm of each share has a standard deviation of its own.
///
/// Panics without any share above 0.
pub fn mix_each(parts: &[(&Constants, f64, f64)]) -> Constants {
    let whole: f64 = parts.iter().map(|(_, share, _)| share).sum();
    assert!(whole > 0.0, "a mix has at least one paint");
    let parts: Vec<(&Constants, f64, f64)> = parts
        .iter()
        .filter(|(_, share, _)| *share > 0.0)
        .map(|(paint, share, sd)| (*paint, share / whole, *sd))
        .collect();
    let sum = |of: fn(&Constants) -> &Bands| -> Bands {
        std::array::from_fn(|b| parts.iter().map(|(p, share, _)| share * of(p)[b]).sum())
    };
    let absorption = sum(|p| &p.absorption);
    let scattering = sum(|p| &p.scattering);
    // Every paint's share of the scattering, over all bands.
    let scatter = |p: &Constants, share: f64| -> f64 {
        (0..BANDS)
            .map(|b| share * p.scattering[b] / scattering[b])
            .sum::<f64>()
            / BANDS as f64
    };
    let anisotropy = parts
        .iter()
        .map(|(p, share, _)| scatter(p, *share) * p.anisotropy)
        .sum();
    let mut covariance = Covariance::zeros();
    for (paint, share, sd) in &parts {
        // How log K, log S and anisotropy of the mix follow those of this paint.
        let weight = SVector::<f64, UNKNOWNS>::from_fn(|i, _| match i / BANDS {
            0 => share * paint.absorption[i] / absorption[i],
            1 => share * paint.scattering[i - BANDS] / scattering[i - BANDS],
            _ => scatter(paint, *share),
        });
        covariance += Covariance::from_fn(|i, j| weight[i] * weight[j] * paint.covariance[(i, j)]);
        if parts.len() > 1 {
            // A wrong unit makes the share wrong: more of this paint, less of all the others.
            let shift = SVector::<f64, UNKNOWNS>::from_fn(|i, _| {
                if i < 2 * BANDS {
                    weight[i] - share
                } else {
                    0.0
                }
            });
            covariance += shift * shift.transpose() * (sd * sd);
        }
    }
    Constants {
        absorption,
        scattering,
        anisotropy,
        covariance,
    }
}

/// The colour alone of `films` of one paint to one film of another, too thick to see through.
pub(super) fn thick_lab(paint: &Constants, with: &Constants, films: f64) -> Lab {
    let table = Table::shared();
    let mut reflectance = [0.0; BANDS];
    let of_both = |band: usize| {
        let k = films * paint.absorption[band] + with.absorption[band];
        let s = films * paint.scattering[band] + with.scattering[band];
        (k, s, films * paint.scattering[band] / s)
    };
    // As in [`mix_each`]: every paint's share of the scattering, over all bands.
    let share = (0..BANDS).map(|b| of_both(b).2).sum::<f64>() / BANDS as f64;
    let anisotropy = share * paint.anisotropy + (1.0 - share) * with.anisotropy;
    for (band, seen) in reflectance.iter_mut().enumerate() {
        let (k, s, _) = of_both(band);
        let thick = table::MOST / k.max(s);
        *seen = table.film(k * thick, s * thick, anisotropy).over(0.0);
    }
    colour::lab(spectrum::xyz_of(&reflectance))
}

/// A paint too thick to see through, with its slopes.
pub fn too_thick(paint: &Constants) -> Seen {
    let table = Table::shared();
    let mut seen = Seen {
        reflectance: [0.0; BANDS],
        by_absorption: [0.0; BANDS],
        by_scattering: [0.0; BANDS],
        by_anisotropy: [0.0; BANDS],
    };
    for band in 0..BANDS {
        // As thick as the table goes with K and S in their own proportion.
        let thick = table::MOST / paint.absorption[band].max(paint.scattering[band]);
        let (k, s) = (
            paint.absorption[band] * thick,
            paint.scattering[band] * thick,
        );
        let [value, by_k, by_s, by_g] = table.slopes(k, s, paint.anisotropy).over(0.0);
        seen.reflectance[band] = value;
        seen.by_absorption[band] = by_k;
        seen.by_scattering[band] = by_s;
        seen.by_anisotropy[band] = by_g;
    }
    seen
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn paint(k: f64, s: f64, tilt: f64) -> Constants {
        let slope = |b: usize| libm::exp(tilt * (b as f64 / 15.0 - 1.0));
        Constants {
            absorption: std::array::from_fn(|b| k * slope(b)),
            scattering: [s; BANDS],
            anisotropy: 0.4,
            covariance: Covariance::identity() * 1e-3,
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(32))]

        /// The order of the paints and the size of the parts do not matter; a paint with itself is itself.
        #[test]
        fn a_mix_has_no_order_and_no_size(
            k in 0.01_f64..2.0, s in 0.01_f64..2.0, share in 0.05_f64..0.95, scale in 0.1_f64..10.0,
        ) {
            let (a, b) = (paint(k, s, 1.0), paint(0.05, 1.0, -0.5));
            let one = mix(&[(&a, share), (&b, 1.0 - share)], Unit::Common);
            let other = mix(&[(&b, scale * (1.0 - share)), (&a, scale * share)], Unit::Common);
            for band in 0..BANDS {
                prop_assert!((one.absorption[band] / other.absorption[band] - 1.0).abs() < 1e-12);
                prop_assert!((one.scattering[band] / other.scattering[band] - 1.0).abs() < 1e-12);
            }
            prop_assert!((one.covariance - other.covariance).norm() < 1e-9);
            let itself = mix(&[(&a, share), (&a, 1.0 - share)], Unit::Unknown);
            for band in 0..BANDS {
                prop_assert!((itself.absorption[band] / a.absorption[band] - 1.0).abs() < 1e-12);
            }
            // Nothing of the second is the first alone, with its own uncertainty and no other.
            let alone = mix(&[(&a, 3.0), (&b, 0.0)], Unit::Unknown);
            prop_assert!((alone.covariance - a.covariance).norm() < 1e-12);
        }

        /// Not knowing the unit never makes the mix surer.
        #[test]
        fn an_unknown_unit_widens(share in 0.05_f64..0.95) {
            let (a, b) = (paint(1.0, 0.05, 1.0), paint(0.01, 2.0, 0.0));
            let parts = [(&a, share), (&b, 1.0 - share)];
            let spread = |unit| {
                let mixed = mix(&parts, unit);
                too_thick(&mixed).lab_with_spread(&mixed.covariance).1.trace()
            };
            prop_assert!(spread(Unit::Unknown) > spread(Unit::Common));
            prop_assert!(spread(Unit::Common) > spread(Unit::Weighed));
        }
    }

    /// The quick way to the colour of a mix of two is the way of all mixes.
    #[test]
    fn the_colour_alone_is_that_of_the_mix() {
        let (a, mut b) = (paint(0.7, 0.04, 1.2), paint(0.01, 1.5, -0.2));
        b.anisotropy = 0.65;
        for films in [0.01, 0.3, 4.0] {
            let mixed = mix(&[(&a, films), (&b, 1.0)], Unit::Common);
            let seen = too_thick(&mixed).lab_of();
            let quick = thick_lab(&a, &b, films);
            assert!(colour::difference(seen, quick) < 1e-9, "{seen:?} {quick:?}");
        }
    }

    #[test]
    fn too_thick_is_the_masstone() {
        let paint = paint(0.4, 0.3, 1.0);
        assert_eq!(too_thick(&paint).reflectance, paint.masstone());
    }
}
