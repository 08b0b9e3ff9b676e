//! What no light is: the zero of a scan, and what the black stripe says of it.

use std::fmt;

use nalgebra::{Matrix3, Vector3};

use crate::{
    card::{
        Ground,
        cells::{PooledCell, Sampled},
    },
    colour,
};

/// Y of the black stripes that people draw on. Ink on plain paper reflects 0.04 to 0.06, and ASTM D2805 asks for 0.01 at most (common
/// practice otherwise, no source).
const USUAL_BLACK: f64 = 0.04;
/// How much they differ (standard deviation; ours).
const BLACKS_DIFFER: f64 = 0.015;
/// How far a zero may be off that a driver has set by the darkest pixels (standard deviation; ours).
const ZEROS_DIFFER: f64 = 0.03;
/// How far the zeros of a good and of a poor scanner are off (standard deviations, in linear reflectance; ours).
const OF_SCANNER: [f64; 2] = [0.001, 0.005];
/// The same where something shines on the black.
const UNCERTAIN: f64 = 0.015;
/// The same of a driver that cut the darks a little.
const CUT_A_LITTLE: f64 = 0.02;
/// The same where plastic or dust lies on everything.
const UNDER_A_VEIL: f64 = 0.05;
/// Y of a black stripe that is no longer black. Ink on plain paper reflects 0.04 to 0.06; ASTM D2805 asks for 0.01.
pub const BLACK_Y: f64 = 0.08;
/// What the deepest carbon blacks reflect, gloss excluded (common practice, no source).
const DEEPEST: f64 = 0.003;
/// Light that no film and no black reflects less of, on its brightest axis; a scanner repeats itself no better than that.
const NO_LIGHT: f64 = 0.002;
/// Y of a black stripe that no ink on paper reaches.
const BLACKER_THAN_INK: f64 = 0.012;
/// Y of a black stripe that few inks reach.
pub const DEEP: f64 = 0.02;
/// Y of a white stripe that few cards reach unless a driver lifts it.
const LIFTED_WHITE: f64 = 0.9;
/// From this Y of the black stripe on, and this least share of light on any axis of any cell, everything is veiled.
const VEILED: (f64, f64) = (0.075, 0.055);
/// Shares of pixels at the lower end from which the darks were cut, and from which the stripe only says that it is no lighter.
const CUT: (f64, f64) = (0.2, 0.5);

/// What no light is measured by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Zero {
    /// The scanner's own zero.
    Scanner,
    /// The same, if the black is lacquer; if it is ink, the darks were cut. The cells say which.
    Deep,
    /// The same, not to be relied on: something shines on the black.
    Uncertain,
    /// The same under plastic film or on dusty glass.
    UnderAVeil,
    /// What black stripes usually are, weighed against a zero that may be anything: the darks were cut.
    Usual {
        /// Whether the black stripe itself was cut off, so that how dark it is cannot be seen.
        cut: bool,
    },
}

impl Zero {
    /// From what the card shows. `sampled` as the scan has it, with nothing scaled.
    pub fn of(sampled: &Sampled) -> Self {
        if clipped(sampled) || stretched(sampled) || cut(sampled) {
            Self::Usual {
                cut: clipped_beyond(sampled, CUT.1),
            }
        } else if sampled.black.xyz[1] < DEEP {
            Self::Deep
        } else if veiled(sampled) {
            Self::UnderAVeil
        } else if sampled.black.xyz[1] > BLACK_Y {
            Self::Uncertain
        } else {
            Self::Scanner
        }
    }

    /// The cells by this zero, from those of the scan.
    pub fn applied(self, sampled: Sampled) -> Sampled {
        let Self::Usual { cut } = self else {
            return sampled;
        };
        let zero = guessed(&sampled, cut);
        // Nothing is darker than the deepest carbon black, whatever a light black stripe says.
        let zero = zero.min(darkest(&sampled).light - DEEPEST);
        let mut sampled = raised(sampled, -zero);
        if cut {
            sampled.black.xyz = colour::WHITE.map(|w| w * (cut_black().0 - zero));
        }
        sampled
    }

    /// How far it may still be off: standard deviations in linear reflectance, of which the cells say which one it is.
    pub fn sds(self) -> Vec<f64> {
        let [good, poor] = OF_SCANNER;
        match self {
            Self::Scanner => vec![good, poor],
            Self::Deep => vec![good, poor, CUT_A_LITTLE, ZEROS_DIFFER],
            Self::Uncertain => vec![UNCERTAIN],
            Self::UnderAVeil => vec![UNDER_A_VEIL],
            // What both kinds of zero leave to the black, at most.
            Self::Usual { cut } => {
                let unseen = if cut { cut_black().1 } else { 0.0 };
                vec![libm::hypot(BLACKS_DIFFER, unseen)]
            }
        }
    }

    /// The zero that a pigment file says; nothing for words of another program.
    pub fn said(words: &str) -> Option<Self> {
        [
            Self::Scanner,
            Self::Deep,
            Self::Uncertain,
            Self::UnderAVeil,
            Self::Usual { cut: false },
            Self::Usual { cut: true },
        ]
        .into_iter()
        .find(|zero| zero.to_string() == words)
    }
}

/// As the pigment file says it.
impl fmt::Display for Zero {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Scanner => out.write_str("scanner zero"),
            Self::Deep => out.write_str("scanner zero, under a deep black"),
            Self::Uncertain => out.write_str("scanner zero, uncertain"),
            Self::UnderAVeil => out.write_str("scanner zero, under a veil"),
            Self::Usual { cut } => {
                write!(
                    out,
                    "a usual black stripe, Y {USUAL_BLACK}, weighed against a zero that is not known"
                )?;
                if *cut {
                    out.write_str("; the stripe is cut off at zero")?;
                }
                Ok(())
            }
        }
    }
}

/// The zero that a black stripe speaks for. Black seen = black + zero, all normal, where the zero is a poor scanner's or one that a driver
/// has set, as likely beforehand: how well each explains the stripe says how likely it is now, and each takes its share of the surprise
/// (Bishop, Pattern Recognition and Machine Learning (2006), 2.3).
fn guessed(sampled: &Sampled, cut: bool) -> f64 {
    let seen = if cut {
        cut_black().0
    } else {
        sampled.black.xyz[1]
    };
    let surprise = seen - USUAL_BLACK;
    let of = |zero_differs: f64| {
        let variance = BLACKS_DIFFER * BLACKS_DIFFER + zero_differs * zero_differs;
        let likely = libm::exp(-0.5 * surprise * surprise / variance) / libm::sqrt(variance);
        let zero = surprise * zero_differs * zero_differs / variance;
        (likely, zero)
    };
    let kinds = [of(OF_SCANNER[1]), of(ZEROS_DIFFER)];
    let all: f64 = kinds.iter().map(|(likely, _)| likely).sum();
    kinds
        .iter()
        .map(|(likely, zero)| likely * zero)
        .sum::<f64>()
        / all
}

/// What a black stripe would be seen as that was cut off at zero: mean and standard deviation of a normal distribution's part below nothing
/// (Johnson, Kotz, Balakrishnan, Continuous Univariate Distributions 1 (1994), 13.10).
fn cut_black() -> (f64, f64) {
    let sd = libm::sqrt(BLACKS_DIFFER * BLACKS_DIFFER + ZEROS_DIFFER * ZEROS_DIFFER);
    let end = -USUAL_BLACK / sd;
    let density = libm::exp(-0.5 * end * end) / libm::sqrt(core::f64::consts::TAU);
    let below = 0.5 * libm::erfc(-end / core::f64::consts::SQRT_2);
    let hazard = density / below;
    let variance = 1.0 - end * hazard - hazard * hazard;
    (USUAL_BLACK - sd * hazard, sd * libm::sqrt(variance))
}

/// The same with `light` added everywhere, in linear reflectance.
fn raised(mut sampled: Sampled, light: f64) -> Sampled {
    let xyz = colour::WHITE.map(|w| w * light);
    let to_xyz = Matrix3::from_fn(|i, j| sampled.to_xyz[i][j]);
    let from_xyz = to_xyz.try_inverse().unwrap_or_else(Matrix3::identity);
    let additive: [f64; 3] = (from_xyz * Vector3::from(xyz)).into();
    let raise = |values: &mut [f64; 3], by: &[f64; 3]| {
        values.iter_mut().zip(by).for_each(|(v, by)| *v += by);
    };
    for crossing in &mut sampled.crossings {
        raise(&mut crossing.additive, &additive);
        if let Some(bare) = &mut crossing.bare {
            raise(bare, &additive);
        }
    }
    for cell in &mut sampled.pooled {
        raise(&mut cell.additive, &additive);
        raise(&mut cell.xyz, &xyz);
    }
    for bare in [&mut sampled.white, &mut sampled.black] {
        raise(&mut bare.additive, &additive);
        raise(&mut bare.xyz, &xyz);
    }
    sampled
}

/// Brightest axis of a colour, as a share of a perfect diffuser's.
fn most_light(xyz: [f64; 3]) -> f64 {
    (0..3)
        .map(|axis| xyz[axis] / colour::WHITE[axis])
        .fold(0.0, f64::max)
}

/// Whether nothing on the card is really dark, neither the black nor any film.
pub fn veiled(sampled: &Sampled) -> bool {
    let lowest = sampled
        .pooled
        .iter()
        .flat_map(|cell| (0..3).map(|axis| cell.xyz[axis] / colour::WHITE[axis]))
        .fold(f64::INFINITY, f64::min);
    sampled.black.xyz[1] > VEILED.0 && lowest > VEILED.1
}

/// The darkest thing on a card.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Darkest {
    /// Film and ground; nothing for the bare black.
    pub cell: Option<(usize, Ground)>,
    /// What it reflects of the light, on its brightest axis.
    pub light: f64,
}

/// The darkest film over white or black, or the bare black.
pub fn darkest(sampled: &Sampled) -> Darkest {
    let black = &sampled.black;
    let cell: Option<&PooledCell> = sampled
        .pooled
        .iter()
        .min_by(|a, b| most_light(a.xyz).total_cmp(&most_light(b.xyz)))
        .filter(|cell| most_light(cell.xyz) < most_light(black.xyz));
    Darkest {
        cell: cell.map(|cell| (cell.film, cell.ground)),
        light: cell.map_or(most_light(black.xyz), |cell| most_light(cell.xyz)),
    }
}

/// Whether the black stripe is cut off at zero, in part at least.
pub fn clipped(sampled: &Sampled) -> bool {
    clipped_beyond(sampled, CUT.0)
}

fn clipped_beyond(sampled: &Sampled, share: f64) -> bool {
    sampled.black.clipped_low.iter().all(|&low| low > share)
}

/// Whether something reflects less than any film or black does.
pub fn cut(sampled: &Sampled) -> bool {
    darkest(sampled).light < NO_LIGHT
}

/// Whether whites are whiter and darks darker than cards and paints are.
pub fn stretched(sampled: &Sampled) -> bool {
    let dark = sampled.black.xyz[1] < BLACKER_THAN_INK || cut(sampled);
    dark && sampled.white.xyz[1] > LIFTED_WHITE
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::{cells, fixture};

    /// The fixture's card, every light of which becomes `gain` times itself and `zero`.
    fn seen(gain: f64, zero: f64) -> Sampled {
        let scan = fixture::scan(true, |at| fixture::card(at).map(|v| gain * v + zero));
        cells::sample(&scan, &fixture::layout()).unwrap()
    }

    fn black_after(gain: f64, zero: f64) -> (Zero, f64) {
        let sampled = seen(gain, zero);
        let of = Zero::of(&sampled);
        (of, of.applied(sampled).black.xyz[1])
    }

    #[test]
    fn what_the_file_says_is_read_again() {
        for zero in [
            Zero::Scanner,
            Zero::Deep,
            Zero::Uncertain,
            Zero::UnderAVeil,
            Zero::Usual { cut: false },
            Zero::Usual { cut: true },
        ] {
            assert_eq!(Zero::said(&zero.to_string()), Some(zero));
        }
        assert_eq!(Zero::said("a black of our own"), None);
    }

    #[test]
    fn the_part_of_a_normal_distribution_below_nothing() {
        // By the midpoint rule over the density itself.
        let sd = libm::sqrt(BLACKS_DIFFER * BLACKS_DIFFER + ZEROS_DIFFER * ZEROS_DIFFER);
        let step = 1e-5;
        let (mut weight, mut mean, mut square) = (0.0, 0.0, 0.0);
        for i in 0..50_000 {
            let at = -(f64::from(i) + 0.5) * step;
            let density = libm::exp(-0.5 * ((at - USUAL_BLACK) / sd).powi(2));
            weight += density;
            mean += density * at;
            square += density * at * at;
        }
        mean /= weight;
        let (got, got_sd) = cut_black();
        assert!((got - mean).abs() < 1e-6, "{got} {mean}");
        let expected = libm::sqrt(square / weight - mean * mean);
        assert!((got_sd - expected).abs() < 1e-6, "{got_sd} {expected}");
    }

    #[test]
    fn a_usual_black_is_left_alone() {
        let (zero, black) = black_after(1.0, 0.0);
        assert_eq!(zero, Zero::Scanner);
        assert!((black - fixture::BLACK[1]).abs() < 1e-3, "{black}");
    }

    #[test]
    fn what_was_cut_comes_back_nearly_and_is_uncertain() {
        // A driver that takes the darkest pixels for black.
        let by = fixture::BLACK[1] - 0.001;
        let (zero, black) = black_after(1.0, -by);
        assert_eq!(zero, Zero::Usual { cut: false });
        assert!((black - fixture::BLACK[1]).abs() < 0.015, "{black}");
        assert!(zero.sds()[0] > 0.01);
        // One that takes more than that for it: only a bound is left of the black, and it is raised as far as that.
        let (zero, black) = black_after(1.0, -by - 0.02);
        assert_eq!(zero, Zero::Usual { cut: true });
        assert!((0.015..0.04).contains(&black), "{black}");
    }

    /// A film with no light at all, over a stripe that is lighter than usual: raised, not lowered.
    #[test]
    fn what_is_too_dark_is_never_made_darker() {
        let mut sampled = seen(1.0, 0.0);
        sampled.black.xyz = colour::WHITE.map(|w| 0.055 * w);
        sampled.pooled[1].xyz = [0.0; 3];
        let zero = Zero::of(&sampled);
        assert_eq!(zero, Zero::Usual { cut: false });
        let after = zero.applied(sampled);
        assert!((after.pooled[1].xyz[1] - DEEPEST).abs() < 1e-12);
    }

    #[test]
    fn a_deep_black_may_be_lacquer() {
        let (zero, black) = black_after(1.0, 0.006 - fixture::BLACK[1]);
        assert_eq!(zero, Zero::Deep);
        assert!((black - 0.006).abs() < 2e-3, "not moved: {black}");
        // Together with a white that is too white it is not.
        let (zero, _) = black_after(
            0.93 / fixture::WHITE[1],
            0.006 - fixture::BLACK[1] * 0.93 / fixture::WHITE[1],
        );
        assert_eq!(zero, Zero::Usual { cut: false });
    }

    #[test]
    fn raised_everywhere_is_raised_by_the_same() {
        let plain = seen(1.0, 0.0);
        let up = raised(plain.clone(), 0.01);
        let y = |s: &Sampled| {
            [
                s.white.xyz[1],
                s.black.xyz[1],
                s.pooled[0].xyz[1],
                // Additive and XYZ have to go together.
                (0..3)
                    .map(|c| s.to_xyz[1][c] * s.pooled[0].additive[c])
                    .sum(),
                (0..3)
                    .map(|c| s.to_xyz[1][c] * s.crossings[0].bare.unwrap()[c])
                    .sum(),
            ]
        };
        for (before, after) in y(&plain).into_iter().zip(y(&up)) {
            assert!((after - before - 0.01).abs() < 1e-9, "{before} {after}");
        }
    }
}
