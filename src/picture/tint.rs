//! A tint of known ratio: how two tubes compare that were drawn with different gauges.
//!
//! Every card counts in films of its own. Parts of two tubes stirred together in a known ratio, and their colour too thick to see
//! through, tell how many films of the one card are in a part for one film of the other in a part of its own: too much of the
//! paint for its films, and the tint would be darker than it is. Once that is known, parts of all their mixes are films.
//!
//! The colour tells one number. It is found by its logarithm, by steps and then by golden section, and how surely is the slope
//! of the colour there against the covariance of everything else: of the colour itself, of both cards, and of what a prediction
//! misses besides.

use nalgebra::{Matrix3, Vector3};

use super::{mix, painted::misses, wanted::least_between};
use crate::{
    colour::{self, Lab},
    paint::{Constants, file::Measure},
};

/// A tint whose parts and colour are known.
#[derive(Debug, Clone, Copy)]
pub struct Tint<'a> {
    /// The paint that is measured.
    pub paint: &'a Constants,
    /// What it was stirred into, mostly a white.
    pub with: &'a Constants,
    /// Parts of the paint to one part of the other.
    pub ratio: f64,
    /// How the parts were measured.
    pub by: Measure,
    /// The tint too thick to see through, without what a dull surface adds.
    pub lab: Lab,
    /// Covariance of that.
    pub spread: Matrix3<f64>,
}

/// What a tint tells.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Told {
    /// Logarithm of how many films of the paint's card there are in a part of it, for one film of the other's in a part of that.
    pub log: f64,
    /// Its standard deviation.
    pub sd: f64,
}

/// Why a tint tells nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Silent {
    /// No mix of the two has such a colour: the nearest is so far off, in CIEDE2000.
    Unlike(f64),
    /// There is so little of the one, or of the other, that its colour hardly depends on how much.
    Faint,
}

/// A tint that is further than this, in CIEDE2000, from every mix of the two is none of them (ours, as for scraps).
const UNLIKE: f64 = 8.0;
/// Films are looked for up to so many times as thick on one card as on the other, either way.
const MOST: f64 = 100.0;
/// Values that are tried first.
const STEPS: usize = 48;
/// Step of the logarithm for the slope.
const STEP: f64 = 0.02;

/// How well parts can be measured out: a factor of 1.1 by weight, of 1.2 by volume, nine times in ten within it (ours).
fn measured_sd(by: Measure) -> f64 {
    let factor: f64 = match by {
        Measure::Weight => 1.1,
        Measure::Volume => 1.2,
    };
    libm::log(factor) / 1.645
}

/// What a tint tells, or why it does not.
///
/// # Errors
/// The reason.
pub fn told(tint: &Tint) -> Result<Told, Silent> {
    let mixed = |log: f64| {
        let films = tint.ratio * libm::exp(log);
        mix::mix_each(&[(tint.paint, films, 0.0), (tint.with, 1.0, 0.0)])
    };
    let seen = |log: f64| mix::thick_lab(tint.paint, tint.with, tint.ratio * libm::exp(log));
    let misses_by = |log: f64| colour::difference(seen(log), tint.lab);
    let end = libm::log(MOST);
    let step = 2.0 * end / STEPS as f64;
    let at = |i: usize| step * i as f64 - end;
    let best = (0..=STEPS)
        .min_by(|&i, &j| misses_by(at(i)).total_cmp(&misses_by(at(j))))
        .unwrap_or(STEPS / 2);
    let log = least_between(at(best) - step, at(best) + step, misses_by);
    let off = misses_by(log);
    if off.is_nan() || off > UNLIKE {
        return Err(Silent::Unlike(off));
    }
    let slope = |log: f64| {
        let [up, down] = [log + STEP, log - STEP].map(|log| {
            let Lab { l, a, b, .. } = seen(log);
            Vector3::new(l, a, b)
        });
        (up - down) / (2.0 * STEP)
    };
    let slope = slope(log);
    let here = mixed(log);
    let (_, of_cards) = mix::too_thick(&here).lab_with_spread(&here.covariance);
    let own = Matrix3::from_diagonal(&misses(tint.lab).map(|m| m * m).into());
    let Some(inverse) = (tint.spread + of_cards + own).try_inverse() else {
        return Err(Silent::Faint);
    };
    let of_colour = 1.0 / slope.dot(&(inverse * slope)).max(1e-12);
    let sd = libm::hypot(of_colour.sqrt(), measured_sd(tint.by));
    // No better than not knowing.
    if sd >= mix::Unit::Unknown.log_sd() {
        return Err(Silent::Faint);
    }
    Ok(Told { log, sd })
}

/// What several tints of the same two tubes tell together; `None` without any. Tints that contradict each other tell less.
pub fn together(told: &[Told]) -> Option<Told> {
    let weight = |one: &Told| 1.0 / (one.sd * one.sd);
    let whole: f64 = told.iter().map(weight).sum();
    if told.is_empty() {
        return None;
    }
    let log = told.iter().map(|one| weight(one) * one.log).sum::<f64>() / whole;
    let surprise: f64 = told
        .iter()
        .map(|one| weight(one) * (one.log - log).powi(2))
        .sum();
    let contradiction = (surprise / (told.len() as f64 - 1.0).max(1.0)).max(1.0);
    Some(Told {
        log,
        sd: (contradiction / whole).sqrt(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{paint::Covariance, spectrum::BANDS};
    use proptest::prelude::*;

    fn paint(scale: f64, scattering: f64) -> Constants {
        Constants {
            absorption: std::array::from_fn(|b| scale * (1.3 - 0.04 * b as f64)),
            scattering: [scale * scattering; BANDS],
            anisotropy: 0.4,
            covariance: Covariance::identity() * 4e-4,
        }
    }

    fn white(scale: f64) -> Constants {
        Constants {
            absorption: [0.004 * scale; BANDS],
            scattering: [1.2 * scale; BANDS],
            ..paint(1.0, 1.0)
        }
    }

    fn tint<'a>(paint: &'a Constants, with: &'a Constants, ratio: f64, lab: Lab) -> Tint<'a> {
        Tint {
            paint,
            with,
            ratio,
            by: Measure::Weight,
            lab,
            spread: Matrix3::identity() * 0.25,
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        /// Cards drawn thin and thick, parts few and many: the tint tells how the films compare, within what it says.
        #[test]
        fn a_tint_tells_how_films_compare(
            thick in 0.2_f64..5.0, of_white in 0.2_f64..5.0, parts in 0.03_f64..0.6, milk in 0.005_f64..0.3,
        ) {
            // One part of each is one film of a common gauge; the cards were drawn otherwise.
            let (real, real_white) = (paint(1.0, milk), white(1.0));
            let lab = mix::thick_lab(&real, &real_white, parts);
            let (card, card_white) = (paint(thick, milk), white(of_white));
            let told = told(&tint(&card, &card_white, parts, lab)).expect("it is well seen");
            let expected = libm::log(of_white / thick);
            prop_assert!((told.log - expected).abs() < 0.02, "{told:?} for {expected}");
            prop_assert!(told.sd < 0.3, "{told:?}");
        }
    }

    #[test]
    fn a_tint_that_cannot_tell_says_why() {
        let (card, card_white) = (paint(1.0, 0.02), white(1.0));
        let of = |ratio, lab| told(&tint(&card, &card_white, ratio, lab));
        // A green is no mix of a red and a white.
        assert!(
            matches!(of(0.1, Lab::new(60.0, -45.0, 20.0)), Err(Silent::Unlike(off)) if off > UNLIKE)
        );
        // As good as white, whatever it holds.
        let bare = mix::thick_lab(&card, &card_white, 1e-6);
        assert_eq!(of(1e-4, bare), Err(Silent::Faint));
    }

    #[test]
    fn tints_together_are_surer_unless_they_differ() {
        let one = Told { log: 0.3, sd: 0.1 };
        let two = together(&[one, one]).unwrap();
        assert!((two.log - 0.3).abs() < 1e-12 && two.sd < 0.08);
        let apart = together(&[one, Told { log: 0.9, sd: 0.1 }]).unwrap();
        assert!((apart.log - 0.6).abs() < 1e-12 && apart.sd > 0.2);
        assert_eq!(together(&[]), None);
    }
}
