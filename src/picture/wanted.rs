//! From the colour that is wanted back to tube, build and underpainting.

use super::{Film, Ground, MOST_BUILD, Predicted, Stack};
use crate::{
    Result,
    colour::{self, Lab},
    film::{Response, table::Table},
    paint::Constants,
    spectrum::{self, Bands},
};

/// The film of one tube that comes nearest to a colour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Nearest {
    /// Its build, in units of the card's own film; 0 where bare is nearest.
    pub build: f64,
    /// What is seen, and how surely.
    pub predicted: Predicted,
    /// CIEDE2000 that remains to the wanted colour.
    pub misses_by: f64,
}

/// A grey under given films that comes nearest to a colour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NearestGrey {
    /// L* of the grey.
    pub lightness: f64,
    /// What is seen over it, and how surely.
    pub predicted: Predicted,
    /// CIEDE2000 that remains to the wanted colour.
    pub misses_by: f64,
}

/// Builds that are tried first, from a hundredth of the greatest upwards in equal factors.
const STEPS: usize = 40;

/// Least of a function between two neighbours of the least that was tried.
pub(super) fn least_between(mut low: f64, mut high: f64, f: impl Fn(f64) -> f64) -> f64 {
    // Golden section: each round keeps 0.618 of the span.
    const GOLDEN: f64 = 0.618_033_988_749_894_9;
    for _ in 0..24 {
        let span = GOLDEN * (high - low);
        let (left, right) = (high - span, low + span);
        if f(left) <= f(right) {
            high = right
        } else {
            low = left
        }
    }
    0.5 * (low + high)
}

/// One film over a ground: the colour alone.
pub fn film_lab(paint: &Constants, build: f64, ground: &Ground) -> Lab {
    let table = Table::shared();
    let seen: Bands = std::array::from_fn(|b| {
        let (k, s) = (paint.absorption[b] * build, paint.scattering[b] * build);
        let response: Response = table.film(k, s, paint.anisotropy);
        response.over(ground.internal[b])
    });
    colour::lab(spectrum::xyz_of(&seen))
}

/// The film of `paint`, up to build `most`, that comes nearest to `wanted` over a ground.
///
/// # Errors
/// As [`Stack::new`].
pub fn nearest(paint: &Constants, most: f64, ground: &Ground, wanted: Lab) -> Result<Nearest> {
    let most = most.min(MOST_BUILD);
    let misses = |log: f64| colour::difference(film_lab(paint, libm::exp(log), ground), wanted);
    let top = libm::log(most);
    let step = libm::log(100.0) / STEPS as f64;
    let at = |i: usize| top - step * (STEPS - i) as f64;
    let best = (0..=STEPS)
        .min_by(|&i, &j| misses(at(i)).total_cmp(&misses(at(j))))
        .unwrap_or(STEPS);
    let log = least_between(at(best) - step, (at(best) + step).min(top), misses);
    let mut build = libm::exp(log);
    if colour::difference(ground.lab, wanted) <= misses(log) {
        build = 0.0;
    }
    let predicted = Stack::new(&[paint], &[Film { paint: 0, build }])?.over(ground);
    Ok(Nearest {
        build,
        predicted,
        misses_by: colour::difference(predicted.lab, wanted),
    })
}

/// The grey underpainting under `stack` that comes nearest to `wanted`.
pub fn nearest_grey(stack: &Stack, wanted: Lab) -> NearestGrey {
    let over = |lightness: f64| stack.over(&Ground::of(Lab::new(lightness, 0.0, 0.0)));
    let misses = |lightness: f64| {
        let ground = Ground::of(Lab::new(lightness, 0.0, 0.0));
        colour::difference(stack.lab_over(&ground), wanted)
    };
    const DARKEST: f64 = 8.0;
    const LIGHTEST: f64 = 97.0;
    const TRIED: usize = 18;
    let step = (LIGHTEST - DARKEST) / TRIED as f64;
    let at = |i: usize| DARKEST + step * i as f64;
    let best = (0..=TRIED)
        .min_by(|&i, &j| misses(at(i)).total_cmp(&misses(at(j))))
        .unwrap_or(0);
    let lightness = least_between(
        (at(best) - step).max(DARKEST),
        (at(best) + step).min(LIGHTEST),
        misses,
    );
    let predicted = over(lightness);
    NearestGrey {
        lightness,
        predicted,
        misses_by: colour::difference(predicted.lab, wanted),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{paint::Covariance, spectrum::BANDS};
    use proptest::prelude::*;

    /// A clear red or a milky blue, from nothing to hiding.
    fn paint(milk: f64, red: bool) -> Constants {
        Constants {
            absorption: std::array::from_fn(|b| {
                let long = b as f64 / (BANDS - 1) as f64;
                0.01 + if red { 1.0 - long } else { long }
            }),
            scattering: [milk; BANDS],
            anisotropy: 0.4,
            covariance: Covariance::identity() * 1e-4,
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        /// A colour that a film makes is found again, with that film.
        #[test]
        fn a_colour_that_can_be_made_is_found(
            build in 0.1_f64..2.0, milk in 0.01_f64..0.3, red: bool, l in 50.0_f64..95.0,
        ) {
            let paint = paint(milk, red);
            let ground = Ground::of(Lab::new(l, 2.0, 5.0));
            let wanted = film_lab(&paint, build, &ground);
            let found = nearest(&paint, 4.0, &ground, wanted).unwrap();
            prop_assert!(found.misses_by < 0.05, "{found:?}");
            prop_assert!((found.build / build - 1.0).abs() < 0.02, "{found:?} for {build}");
        }

        /// The grey that a colour was made over is found again.
        #[test]
        fn the_grey_below_is_found(build in 0.05_f64..1.0, milk in 0.01_f64..0.2, l in 15.0_f64..90.0) {
            let paint = paint(milk, true);
            let stack = Stack::new(&[&paint], &[Film { paint: 0, build }]).unwrap();
            let wanted = stack.over(&Ground::of(Lab::new(l, 0.0, 0.0))).lab;
            let found = nearest_grey(&stack, wanted);
            prop_assert!(found.misses_by < 0.1, "{found:?}");
        }
    }

    #[test]
    fn where_no_film_helps_the_colour_stays_bare() {
        let ground = Ground::of(Lab::new(50.0, 0.0, 0.0));
        // Lighter than any film of a clear red makes it.
        let found = nearest(&paint(0.001, true), 4.0, &ground, Lab::new(70.0, 0.0, 0.0)).unwrap();
        assert_eq!(found.build, 0.0);
        assert_eq!(found.predicted.lab, ground.lab);
    }
}
