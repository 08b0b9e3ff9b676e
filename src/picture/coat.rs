//! The painter's own coat of a tube, from scraps that were really laid. No two painters brush a glaze alike, nor one painter
//! with a brush and with a rag, so coats of one way of working only are taken together.
//!
//! A scrap tells the logarithm of its build by what it looks like, surely where the colour still moves with the film and hardly
//! where it is all masstone; coats differ among themselves besides ([`ONE_COAT_SD`]). Both are in the weight of a scrap and in
//! what the next coat may be.

use nalgebra::{Matrix3, Vector3};

use super::{
    Ground, MOST_BUILD, Stack,
    ground::without_surface,
    painted::{ONE_COAT_SD, misses},
    wanted::{film_lab, nearest},
};
use crate::{
    colour::Lab,
    paint::{
        Constants, Covariance, Record,
        file::{Scrap, ScrapColour},
    },
};

/// What one scrap tells of a coat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Told {
    /// Logarithm of the build of one coat, in units of the card's own film.
    pub log: f64,
    /// Standard deviation of that as a measure of this scrap.
    pub sd: f64,
}

/// A coat as scraps show it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coat {
    /// In units of the card's own film, as brushed out.
    pub build: f64,
    /// Standard deviation of the logarithm of the next coat's build.
    pub log_sd: f64,
    /// Scraps that tell.
    pub scraps: usize,
}

/// A scrap that no build of its tube brings nearer than this, in CIEDE2000, tells nothing (ours).
const TELLS_NOTHING: f64 = 8.0;
/// Nor one that leaves the build open by more than this, a factor of three (ours).
const LEAST_SURE: f64 = 1.1;
/// Step of the logarithm for slopes.
const STEP: f64 = 0.02;

/// What a scrap of `coats` coats over `ground` tells, if anything. Films up to `most` are thought of; one that cannot be predicted
/// tells nothing.
pub fn told(
    paint: &Constants,
    most: f64,
    ground: &Ground,
    (lab, spread): (Lab, &Matrix3<f64>),
    coats: f64,
) -> Option<Told> {
    let found = nearest(paint, most, ground, lab).ok()?;
    if found.build <= 0.0 || found.misses_by >= TELLS_NOTHING || coats <= 0.0 {
        return None;
    }
    let at = |by: f64| {
        let build = (found.build * libm::exp(by)).min(MOST_BUILD);
        let Lab { l, a, b, .. } = film_lab(paint, build, ground);
        Vector3::new(l, a, b)
    };
    let slope = (at(STEP) - at(-STEP)) / (2.0 * STEP);
    // What the card leaves open of the constants shifts all coats of the tube alike and the predictions back: not counted.
    let exact = Constants {
        covariance: Covariance::zeros(),
        ..paint.clone()
    };
    let film = super::Film {
        paint: 0,
        build: found.build,
    };
    let stack = Stack::new(&[&exact], &[film]).ok()?;
    let (_, by_ground) = stack.over_with_spread(ground);
    let own = Matrix3::from_diagonal(&misses(lab).map(|m| m * m).into());
    let inverse = (spread + by_ground + own).try_inverse()?;
    let sd = 1.0 / slope.dot(&(inverse * slope)).max(1e-12).sqrt();
    (sd < LEAST_SURE).then(|| Told {
        log: libm::log(found.build / coats),
        sd,
    })
}

/// What a kept scrap of a tube tells.
pub fn told_by(paint: &Constants, record: &Record, scrap: &Scrap) -> Option<Told> {
    if let Some(film) = scrap.film.and_then(|film| record.films.get(film)) {
        return Some(Told {
            log: libm::log(film.build / scrap.coats),
            sd: film.build_sd / film.build,
        });
    }
    let (over, painted) = (scrap.over.as_ref()?, scrap.painted.as_ref()?);
    // The file does not bound L* apart from a* and b*.
    let lab = |[l, a, b]: [f64; 3]| Lab::new(l.clamp(0.0, 100.0), a, b);
    let ground = Ground::measured(&super::ground::Measured {
        lab: lab(over.lab),
        spread: variances(over),
        surface: over.surface,
        spectrum: None,
    });
    let most = 4.0 * record.thickest().max(scrap.coats);
    let (seen, spread) = without_surface(lab(painted.lab), &variances(painted), painted.surface);
    told(paint, most, &ground, (seen, &spread), scrap.coats)
}

fn variances(colour: &ScrapColour) -> Matrix3<f64> {
    Matrix3::from_diagonal(&colour.lab_sd.map(|sd| sd * sd).into())
}

/// The coat that scraps of one way of working show together; `None` without any.
pub fn together(told: &[Told]) -> Option<Coat> {
    let weight = |one: &Told| 1.0 / (ONE_COAT_SD * ONE_COAT_SD + one.sd * one.sd);
    let whole: f64 = told.iter().map(weight).sum();
    if told.is_empty() {
        return None;
    }
    let mean = told.iter().map(|one| weight(one) * one.log).sum::<f64>() / whole;
    // With few scraps the usual spread counts as one more; what a scrap does not tell is no spread of coats.
    let spread: f64 = told
        .iter()
        .map(|one| ((one.log - mean).powi(2) - one.sd * one.sd).max(0.0))
        .sum();
    let of_coats = (spread + ONE_COAT_SD * ONE_COAT_SD) / told.len() as f64;
    Some(Coat {
        build: libm::exp(mean),
        log_sd: (of_coats + 1.0 / whole).sqrt(),
        scraps: told.len(),
    })
}

impl Coat {
    /// `0.62 × the card’s film, give or take 40 %, from 2 scraps`.
    pub fn words(&self) -> String {
        format!(
            "{:.2} × the card’s film, give or take {:.0} %, from {}",
            self.build,
            100.0 * (libm::exp(1.645 * self.log_sd) - 1.0),
            match self.scraps {
                1 => "one scrap".to_owned(),
                n => format!("{n} scraps"),
            }
        )
    }
}

/// Whether two ways of working are one, however they are typed.
pub fn same_way(one: &str, other: &str) -> bool {
    one.trim().to_lowercase() == other.trim().to_lowercase()
}

/// Whether two scraps are one. Numbers may have been printed and read since.
pub fn same_scrap(one: &Scrap, other: &Scrap) -> bool {
    let near = |a: f64, b: f64| (a - b).abs() < 1e-6;
    let alike = |a: &Option<ScrapColour>, b: &Option<ScrapColour>| match (a, b) {
        (Some(a), Some(b)) => a.lab.iter().zip(&b.lab).all(|(a, b)| near(*a, *b)),
        (None, None) => true,
        _ => false,
    };
    same_way(&one.way, &other.way)
        && one.film == other.film
        && near(one.coats, other.coats)
        && alike(&one.over, &other.over)
        && alike(&one.painted, &other.painted)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spectrum::BANDS;
    use proptest::prelude::*;

    fn rose() -> Constants {
        Constants {
            absorption: std::array::from_fn(|b| 1.2 - 0.035 * b as f64),
            scattering: [0.05; BANDS],
            anisotropy: 0.4,
            covariance: Covariance::identity() * 4e-4,
        }
    }

    fn one(coat: f64, coats: f64, lightness: f64) -> Option<Told> {
        let ground = Ground::of(Lab::new(lightness, 0.0, 0.0));
        let lab = film_lab(&rose(), coat * coats, &ground);
        told(
            &rose(),
            20.0,
            &ground,
            (lab, &(Matrix3::identity() * 0.25)),
            coats,
        )
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        /// A scrap of a known film gives that film back, in as many coats as it was laid.
        #[test]
        fn a_scrap_gives_its_own_build(coat in 0.2_f64..1.2, coats in 1_u8..4, light in 55.0_f64..95.0) {
            let told = one(coat, f64::from(coats), light).expect("over a light ground it is seen");
            prop_assert!((told.log - libm::log(coat)).abs() < 0.02, "{told:?} for {coat}");
        }

        /// More scraps of like coats never make the next one less sure, and never surer than coats are alike.
        #[test]
        fn scraps_narrow_down_to_the_spread_of_coats(log in -1.0_f64..1.0, sd in 0.01_f64..0.5, n in 1_usize..12) {
            let scraps = vec![Told { log, sd }; n + 1];
            let few = together(&scraps[..n]).unwrap();
            let more = together(&scraps).unwrap();
            prop_assert!(more.log_sd <= few.log_sd);
            prop_assert!((libm::log(few.build) - log).abs() < 1e-9);
        }
    }

    /// Over black, a clear glaze shows nothing of its thickness.
    #[test]
    fn a_scrap_that_shows_nothing_tells_nothing() {
        let sure = one(0.5, 1.0, 90.0).unwrap();
        assert!(sure.sd < 0.2, "{sure:?}");
        let dark = one(0.5, 1.0, 5.0);
        assert!(dark.is_none_or(|told| told.sd > 3.0 * sure.sd), "{dark:?}");
        assert_eq!(together(&[]), None);
    }

    /// Coats that really differ widen what the next may be.
    #[test]
    fn uneven_hands_are_told() {
        let coats = |logs: &[f64]| {
            let told: Vec<Told> = logs.iter().map(|&log| Told { log, sd: 0.05 }).collect();
            together(&told).unwrap().log_sd
        };
        assert!(coats(&[-0.7, 0.0, 0.7]) > 1.8 * coats(&[-0.05, 0.0, 0.05]));
    }
}
