//! The fit and its predictions against exact light transport of another library, on stored noisy cells.

#[path = "support/sets.rs"]
mod sets;

use sets::{Set, percentile};
use twoground::{
    colour,
    film::table,
    fit::{self, Optics, Prior},
    paint::Constants,
    picture::film_over,
};

/// Errors (CIEDE2000) of predictions at every build and ground, and how often the range held at half to double build.
struct Score {
    errors: Vec<f64>,
    held: f64,
    width: f64,
}

fn score(set: &Set) -> Score {
    let (mut errors, mut held, mut widths) = (Vec::new(), 0, Vec::new());
    for paint in &set.paints {
        for cells in &paint.noisy {
            let fitted = fit::fit(&set.card(cells), &Prior::default(), Optics::Transport);
            let constants = Constants::of(&fitted);
            for (build, labs) in &paint.over_grounds {
                for (ground, &truth) in set.grounds.iter().zip(labs) {
                    let predicted =
                        film_over(&constants, *build, ground).expect("a build within reach");
                    let error = colour::difference(truth, predicted.lab);
                    errors.push(error);
                    if (0.5..=2.0).contains(build) {
                        held += usize::from(error <= predicted.range);
                        widths.push(predicted.range);
                    }
                }
            }
        }
    }
    Score {
        held: held as f64 / widths.len() as f64,
        width: percentile(&widths, 0.5),
        errors,
    }
}

/// Reference scores: a plain numpy fit through the other library's own table on the same cells.
#[test]
fn predictions_are_as_close_as_the_plain_reference() {
    for (name, median, high) in [
        ("cards", 0.70, 3.1),
        ("second", 0.73, 3.2),
        ("forward", 0.69, 3.5),
    ] {
        let set = Set::load(name);
        let s = score(&set);
        let (m, h) = (percentile(&s.errors, 0.5), percentile(&s.errors, 0.95));
        assert!(m <= 1.03 * median && h <= 1.03 * high, "{name}: {m} {h}");
        assert!((0.85..=0.995).contains(&s.held), "{name}: {}", s.held);
        assert!(s.width <= 3.0, "{name}: {}", s.width);
    }
}

/// Optics know no other anisotropies, and a pigment file with one would not be read again.
#[test]
fn an_anisotropy_stays_within_the_optics() {
    let set = Set::load("cards");
    let paint = &set.paints[0];
    for prior in [(-0.5, 0.1), (1.5, 0.1)] {
        let mut card = set.card(&paint.noisy[0]);
        card.anisotropy = prior;
        let fitted = fit::fit(&card, &Prior::default(), Optics::Transport);
        assert!(
            (table::EVEN..=table::MOST_FORWARD).contains(&fitted.anisotropy),
            "{prior:?}: {}",
            fitted.anisotropy
        );
    }
}
