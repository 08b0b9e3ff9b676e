//! What changes from one colour to another, in a painter's words.

use crate::{
    colour::{self, Lab},
    paint::verdict::{self, Here},
};

/// Hue of the warm pole, in degrees of a*, b*: orange. The cold pole lies opposite, a greenish blue (common practice, no
/// source; the angle is ours).
const WARM: f64 = 55.0;
/// Changes of L*, of chroma, or along the warm axis below this are not named: one would hardly see them.
const LEAST: f64 = 1.0;

/// A change of hue that goes aside more than this many times as far as along the warm axis is not told as warmer or cooler.
const MOST_ASIDE: f64 = 2.0;

/// How far a colour lies towards the warm pole.
pub(super) fn warmth(lab: Lab) -> f64 {
    let turn = WARM.to_radians();
    lab.a * libm::cos(turn) + lab.b * libm::sin(turn)
}

/// Chroma C*ab.
pub(super) fn chroma(lab: Lab) -> f64 {
    libm::hypot(lab.a, lab.b)
}

/// `darker, warmer and richer`, or that there is hardly a change.
pub(super) fn change(before: Lab, after: Lab) -> String {
    if colour::difference(before, after) < LEAST {
        return "hardly changed".to_owned();
    }
    let pick = |by: f64, less: &'static str, more: &'static str| {
        if by <= -LEAST {
            Some(less)
        } else if by >= LEAST {
            Some(more)
        } else {
            None
        }
    };
    let warmer = warmth(after) - warmth(before);
    let (a, b) = (after.a - before.a, after.b - before.b);
    // A grey that turns green lies a little nearer to orange; nobody calls it warmer.
    let aside = libm::sqrt((a * a + b * b - warmer * warmer).max(0.0));
    let words: Vec<&str> = [
        pick(after.l - before.l, "darker", "lighter"),
        pick(warmer, "cooler", "warmer").filter(|_| aside <= MOST_ASIDE * warmer.abs()),
        pick(chroma(after) - chroma(before), "quieter", "richer"),
    ]
    .into_iter()
    .flatten()
    .collect();
    match words[..] {
        [] => "another hue".to_owned(),
        _ => crate::page::glaze::listed(&words),
    }
}

/// Why films count as glaze, veil or covering over a colour. `left` is the L* between the nominal white and black under them, `share`
/// how much of the drawing's lights and darks that is, `range` what the colour may be off by, where that is known.
pub(super) fn reason(
    here: Here,
    before: Lab,
    after: Lab,
    range: f64,
    left: f64,
    share: f64,
) -> String {
    let by = (after.l - before.l).abs();
    let perhaps = if by < range {
        " That is within the range: it may as well stay, or darken."
    } else {
        ""
    };
    let falls = share < 0.5;
    match here {
        Here::Glaze if by < 0.5 && falls => format!(
            "Glaze: this colour keeps its lightness, but the drawing falls: white and black would be {left:.0} L* apart under it."
        ),
        Here::Glaze if by < 0.5 => {
            "Glaze: it changes the hue and hardly the lightness; the drawing stays.".to_owned()
        }
        Here::Glaze if falls => format!(
            "Glaze: this colour falls by {by:.0} L*, and the drawing with it: white and black would be {left:.0} L* apart under it."
        ),
        Here::Glaze => {
            format!("Glaze: this colour falls by {by:.0} L*, and what lies below stays in view.")
        }
        Here::Veil if verdict::is_slight(by) => {
            format!("Slightly milky: this colour rises by {by:.1} L*.{perhaps}")
        }
        Here::Veil => format!(
            "Veil (velatura): this colour rises by {by:.0} L*, because the film throws light back before it reaches what lies below.{perhaps}"
        ),
        Here::Covering => {
            format!("Covering: white and black would be only {left:.0} L* apart under it.")
        }
    }
}

/// Lights to darks left at none, one, two ... coats, in a sentence; `bare` is that of the bare underpainting.
pub(super) fn fading(bare: f64, spans: &[f64]) -> String {
    if bare < 5.0 {
        return "These colours are alike in lightness: there are no lights and darks to lose."
            .to_owned();
    }
    let first = |share: f64| spans.iter().position(|span| *span < share * bare);
    let from = |n: usize| match n {
        0 => "Even without it".to_owned(),
        1 => "From one coat on".to_owned(),
        n => format!("From {n} coats on"),
    };
    let last = spans.len().saturating_sub(1);
    match (first(0.5), first(0.2)) {
        (None, _) => format!("The drawing stays through all {last} coats."),
        (Some(going), None) => format!("{}, the drawing is going.", from(going)),
        (Some(going), Some(gone)) if going == gone => {
            format!("{}, the drawing is gone.", from(gone))
        }
        (Some(going), Some(gone)) => {
            let coats = if gone == 1 { "coat" } else { "coats" };
            format!(
                "{}, the drawing is going; with {gone} {coats} it is gone.",
                from(going)
            )
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn changes_have_their_words() {
        let grey = Lab::new(60.0, 0.0, 0.0);
        assert_eq!(change(grey, Lab::new(60.2, 0.1, 0.0)), "hardly changed");
        assert_eq!(
            change(grey, Lab::new(40.0, 20.0, 20.0)),
            "darker, warmer and richer"
        );
        assert_eq!(
            change(Lab::new(40.0, 20.0, 20.0), Lab::new(55.0, 5.0, 3.0)),
            "lighter, cooler and quieter"
        );
        assert_eq!(
            change(Lab::new(50.0, 20.0, -14.0), Lab::new(50.0, 17.2, -17.4)),
            "cooler"
        );
        // A green glaze over grey.
        assert_eq!(
            change(Lab::new(92.0, 0.0, 0.0), Lab::new(84.0, -30.9, 33.2)),
            "darker and richer"
        );
    }

    #[test]
    fn a_colour_that_stays_does_not_say_that_the_drawing_does() {
        let [dark, dyed] = [Lab::new(20.0, 0.0, 0.0), Lab::new(20.1, 3.0, 0.0)];
        let words = |left| {
            reason(
                Here::Glaze,
                dark,
                dyed,
                0.0,
                left,
                left / verdict::nominal_span(),
            )
        };
        assert!(words(80.0).ends_with("the drawing stays."));
        assert!(
            words(12.0)
                .ends_with("the drawing falls: white and black would be 12 L* apart under it.")
        );
    }

    #[test]
    fn a_rise_within_the_range_is_told_as_one() {
        let rise = |by: f64, range| {
            reason(
                Here::Veil,
                Lab::new(26.0, 0.0, 0.0),
                Lab::new(26.0 + by, 0.0, 0.0),
                range,
                50.0,
                0.8,
            )
        };
        assert_eq!(
            rise(1.2, 0.4),
            "Slightly milky: this colour rises by 1.2 L*."
        );
        assert!(rise(1.2, 3.3).ends_with("it may as well stay, or darken."));
        assert!(rise(9.0, 3.3).starts_with("Veil (velatura): this colour rises by 9 L*"));
        assert!(!rise(9.0, 3.3).contains("within the range"));
    }

    #[test]
    fn the_lost_drawing_is_foretold() {
        let cases: [(&[f64], &str); 5] = [
            (
                &[60.0, 55.0, 50.0],
                "The drawing stays through all 2 coats.",
            ),
            (
                &[60.0, 40.0, 29.0],
                "From 2 coats on, the drawing is going.",
            ),
            (
                &[60.0, 25.0, 10.0],
                "From one coat on, the drawing is going; with 2 coats it is gone.",
            ),
            (&[60.0, 5.0], "From one coat on, the drawing is gone."),
            // Another film has taken it away already.
            (&[9.0, 8.0], "Even without it, the drawing is gone."),
        ];
        for (spans, words) in cases {
            assert_eq!(fading(60.0, spans), words);
        }
        assert!(fading(3.0, &[3.0, 1.0]).starts_with("These colours are alike"));
    }
}
