//! The fit and its predictions against exact light transport of another library, on stored noisy cells.

#[path = "support/score.rs"]
mod score;
#[path = "support/sets.rs"]
mod sets;
#[path = "support/simple_ways.rs"]
mod simple_ways;

use score::{Class, One, Tally};
use sets::{DRAWS, Noise, Set};
use twoground::{
    colour,
    film::table,
    fit::{self, Optics, Prior},
};

/// The product's predictions on one set, from `draws` cards of `films` films a paint.
fn all(set: &Set, draws: usize, films: usize, noise: Noise) -> Vec<One> {
    set.paints
        .iter()
        .flat_map(|paint| {
            (0..draws)
                .flat_map(move |draw| score::predictions_within(set, paint, draw, films, noise))
        })
        .collect()
}

fn near(one: &One) -> bool {
    (0.5..=2.0).contains(&one.build)
}

/// Reference scores: a plain numpy fit through the other library's own table on the same cells.
#[test]
fn predictions_are_as_close_as_the_plain_reference() {
    for (name, median, high) in [
        ("cards", 0.70, 3.1),
        ("second", 0.73, 3.2),
        ("forward", 0.69, 3.5),
    ] {
        let all = all(&Set::load(name), DRAWS, 3, Noise::OfScanners);
        let every = score::tally(&all, |_| true);
        let (m, h) = (every.median(), every.high());
        assert!(m <= 1.03 * median && h <= 1.03 * high, "{name}: {m} {h}");
        let near = score::tally(&all, near);
        let (held, width) = (near.held(), near.width());
        assert!((0.85..=0.995).contains(&held), "{name}: {held}");
        assert!(width <= 3.0, "{name}: {width}");
    }
}

/// How often ranges hold in every class of paint, film, ground and card: all must be `within`.
fn assert_held(noise: Noise, draws: usize, within: std::ops::RangeInclusive<f64>) {
    let mut every: Vec<One> = Vec::new();
    for name in ["cards", "second", "forward"] {
        let set = Set::load(name);
        for films in [1, 2, 3] {
            every.extend(all(&set, draws, films, noise));
        }
    }
    let check = |what: &str, which: &dyn Fn(&One) -> bool| {
        for films in [1, 2, 3] {
            let t = score::tally(&every, |o| o.films_on_card == films && which(o));
            assert!(
                within.contains(&t.held()),
                "{what}, {films} films: {:.3} of {}",
                t.held(),
                t.errors.len()
            );
        }
    };
    for class in Class::ALL {
        check(class.name(), &|o| o.class == class);
    }
    for build in [0.25, 0.5, 1.0, 2.0, 4.0] {
        check(&format!("{build} of the film"), &|o| o.build == build);
    }
    check("coloured grounds", &|o| o.coloured);
    check("grey grounds", &|o| !o.coloured);
    // Every film more on the card tells more.
    let [one, two, three] =
        [1, 2, 3].map(|films| score::tally(&every, |o| o.films_on_card == films));
    assert!(one.median() > two.median() && two.median() > three.median());
    assert!(one.width() > two.width() && two.width() > three.width());
}

/// Nine times in ten is meant, and is what comes where a fit is told how far cells are off.
#[test]
fn ranges_hold_as_often_as_they_say_where_the_noise_is_known() {
    assert_held(Noise::Added, DRAWS, 0.85..=0.99);
}

/// A scan says less of its scanner than that: ranges allow for errors that these cells do not have, and hold more often.
#[test]
fn ranges_that_allow_for_a_scanner_hold_in_every_class() {
    assert_held(Noise::OfScanners, 2, 0.85..=1.0);
}

/// The textbook formula and three wide bands, fitted to the same cells with the same noise and prior, miss by more.
#[test]
fn simpler_ways_are_further_off() {
    for name in ["cards", "second", "forward"] {
        let set = Set::load(name);
        let [mut ours, mut two_flux, mut wide] = [const { Tally::new() }; 3];
        for paint in &set.paints {
            let cells = &paint.noisy[0];
            ours.append(&score::tally(
                &score::predictions(&set, paint, 0, 3),
                |_| true,
            ));
            let fluxes = simple_ways::fit_two_flux(&set.card(cells), sets::prior(set.white, cells));
            let bands = simple_ways::fit_wide(set.white, set.black, cells, Some(&set.builds));
            for (build, labs) in &paint.over_grounds {
                for ((ground, &xyz), &truth) in set.grounds.iter().zip(&set.grounds_xyz).zip(labs) {
                    let lab = simple_ways::two_flux_over(&[(&fluxes, *build)], ground);
                    two_flux.add(colour::difference(truth, lab), 0.0);
                    let lab = simple_ways::wide_over(&[(&bands, *build)], xyz);
                    wide.add(colour::difference(truth, lab), 0.0);
                }
            }
        }
        let (o, f, w) = (ours.median(), two_flux.median(), wide.median());
        assert!(o < 0.8 * f && o < 0.4 * w, "{name}: {o} {f} {w}");
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
