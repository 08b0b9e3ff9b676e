//! How light a card is altogether: what its white stripe is measured by.

use std::fmt;

use super::black::Zero;
use crate::{
    card::{Layout, cells::Sampled},
    colour::{self, Lab},
    scan::Scan,
};

/// Y of the white stripes that people draw on: board, gesso, white acrylic (common practice, no source).
const USUAL_WHITE: f64 = 0.82;
/// How much they differ, as a share (standard deviation; common practice, no source).
const WHITES_DIFFER: f64 = 0.07;
/// Y that white stripes seldom have: a scanner that sees less or more has set its exposure by itself (ours).
const SELDOM: (f64, f64) = (0.7, 0.95);
/// How far an exposure may be off that nobody set by a known white, as a share (standard deviation; ours: a fifth of a stop).
const EXPOSURES_DIFFER: f64 = 0.15;
/// From this departure from a parallelogram on, a camera took the picture (ours). Of 164 cards on rendered flatbed scans, crooked or
/// not, none read as more than 0.0043. A camera two widths away from a square card makes this much by leaning 1.6 degrees.
pub const PERSPECTIVE: f64 = 0.01;
/// How far a scanner's white may be from a perfect diffuser, as a share (ours; automatic exposure makes it worse).
pub const OF_SCANNER: f64 = 0.04;
/// The same where the white stripe was measured.
const OF_MEASURED: f64 = 0.005;

/// What the white stripe is measured by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Level {
    /// The scanner's white, which counts as a perfect diffuser.
    Scanner,
    /// L* of the stripe, as an instrument gave it.
    Measured(f64),
    /// What white stripes usually are, weighed against the picture's exposure, which may be anything.
    Usual(Doubt),
}

/// Why an exposure is not trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doubt {
    /// The card stands in perspective, or the file says that a camera took it.
    Camera,
    /// The white stripe is darker than white stripes are.
    Dark,
    /// It is lighter.
    Light,
    /// The darks were cut, which drivers do together with lifting the lights.
    Stretched,
}

impl Level {
    /// From the stripe's L* where it was measured, and from what the picture shows. `sampled` as the scan has it, with nothing
    /// scaled.
    pub fn of(
        scan: &Scan,
        layout: &Layout,
        sampled: &Sampled,
        zero: Zero,
        measured: Option<f64>,
    ) -> Self {
        let y = sampled.white.xyz[1];
        match measured {
            Some(lightness) => Self::Measured(lightness),
            None if scan.origin.camera || layout.perspective() > PERSPECTIVE => {
                Self::Usual(Doubt::Camera)
            }
            None if matches!(zero, Zero::Usual { .. }) => Self::Usual(Doubt::Stretched),
            None if y < SELDOM.0 => Self::Usual(Doubt::Dark),
            None if y > SELDOM.1 => Self::Usual(Doubt::Light),
            None => Self::Scanner,
        }
    }

    /// The cells at this level, from those of the scan.
    pub fn applied(self, sampled: Sampled) -> Sampled {
        let seen = sampled.white.xyz[1];
        if seen <= 0.0 {
            return sampled;
        }
        match self {
            Self::Scanner => sampled,
            Self::Measured(lightness) => {
                let y = colour::xyz(Lab::new(lightness, 0.0, 0.0)).y;
                sampled.scaled(y / seen)
            }
            // Log white seen = log white + log exposure, both normal: the exposure takes its share of the surprise.
            Self::Usual(_) => {
                let surprise = libm::log(seen / USUAL_WHITE);
                let (of_white, of_exposure) = variances();
                sampled.scaled(libm::exp(
                    -surprise * of_exposure / (of_white + of_exposure),
                ))
            }
        }
    }

    /// How far all light together may still be off, as a share (standard deviation).
    pub fn sd(self) -> f64 {
        match self {
            Self::Scanner => OF_SCANNER,
            Self::Measured(_) => OF_MEASURED,
            Self::Usual(_) => {
                let (of_white, of_exposure) = variances();
                (of_white * of_exposure / (of_white + of_exposure)).sqrt()
            }
        }
    }

    /// The level that a pigment file says; nothing for words of another program.
    pub fn said(words: &str) -> Option<Self> {
        // Why an exposure is not trusted is not in the words, and makes no difference to a fit.
        let plain = [Self::Scanner, Self::Usual(Doubt::Camera)];
        let found = plain.into_iter().find(|level| level.to_string() == words);
        found.or_else(|| {
            let (_, lightness) = words.rsplit_once("L* ")?;
            let measured = Self::Measured(lightness.trim().parse().ok()?);
            (measured.to_string() == words).then_some(measured)
        })
    }
}

const fn variances() -> (f64, f64) {
    (
        WHITES_DIFFER * WHITES_DIFFER,
        EXPOSURES_DIFFER * EXPOSURES_DIFFER,
    )
}

/// As the pigment file says it.
impl fmt::Display for Level {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Scanner => out.write_str("scanner white counts as a perfect diffuser"),
            Self::Measured(l) => write!(out, "the white stripe, measured as L* {l}"),
            Self::Usual(_) => write!(
                out,
                "a usual white stripe, Y {USUAL_WHITE}, weighed against an exposure that is not known"
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::{cells, fixture};

    fn level(white: f64, slant: f64, measured: Option<f64>) -> (Level, f64) {
        let scan = fixture::scan(true, |at| {
            fixture::card(at).map(|v| v * white / fixture::WHITE[1])
        });
        let mut layout = fixture::layout();
        let mut sampled = cells::sample(&scan, &layout).unwrap();
        sampled = sampled.clone().scaled(white / sampled.white.xyz[1]);
        layout.corners[0][0] += slant * layout.corners[2][0];
        let level = Level::of(&scan, &layout, &sampled, Zero::Scanner, measured);
        (level, level.applied(sampled).white.xyz[1])
    }

    #[test]
    fn what_the_file_says_is_read_again() {
        for level in [
            Level::Scanner,
            Level::Measured(93.5),
            Level::Usual(Doubt::Camera),
        ] {
            assert_eq!(Level::said(&level.to_string()), Some(level));
        }
        assert_eq!(Level::said("a white of our own, L* 93"), None);
    }

    #[test]
    fn only_an_exposure_that_cannot_be_trusted_is_guessed() {
        let (trusted, y) = level(0.8, 0.0, None);
        assert_eq!(trusted, Level::Scanner);
        assert!((y - 0.8).abs() < 1e-12, "{y}");
        let (dark, y) = level(0.6, 0.0, None);
        assert_eq!(dark, Level::Usual(Doubt::Dark));
        // Most of the way to a usual white.
        assert!((0.74..0.82).contains(&y), "{y}");
        let (light, y) = level(0.97, 0.0, None);
        assert_eq!(light, Level::Usual(Doubt::Light));
        assert!((0.82..0.88).contains(&y), "{y}");
        assert!(dark.sd() > Level::Scanner.sd());
    }

    #[test]
    fn a_slant_speaks_for_a_camera_and_a_measured_white_overrules_it() {
        assert_eq!(level(0.8, 0.05, None).0, Level::Usual(Doubt::Camera));
        let (measured, y) = level(0.5, 0.05, Some(96.0));
        assert_eq!(measured, Level::Measured(96.0));
        // L* 96 is Y 0.9001 (CIE 15).
        assert!((y - 0.9001).abs() < 1e-4, "{y}");
    }
}
