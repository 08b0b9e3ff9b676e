//! Milk on black and its grade are the paint's, not the card's: alike for other films and other noise, and near exact transport at
//! the paint's own anisotropy. `cargo run --example score_sets` prints the same for every invented paint.

#[path = "support/milk.rs"]
mod milk;
#[path = "support/score.rs"]
mod score;
#[path = "support/sets.rs"]
mod sets;
#[path = "support/simple_ways.rs"]
mod simple_ways;
#[path = "support/stacks.rs"]
mod stacks;

use twoground::paint::{
    file::{Grade, State},
    verdict,
};

/// Clear, milky and covering ones, and three whose milk lies near a bound of the grades.
const PAINTS: [&str; 9] = [
    "rose lake",
    "clear yellow",
    "dark umber",
    "dense red",
    "rope ochre",
    "garden green",
    "rising red",
    "buoy orange",
    "grey earth",
];

#[test]
fn milk_is_the_paints_and_not_the_cards() {
    let mut near = 0;
    for paint in milk::all()
        .into_iter()
        .filter(|p| PAINTS.contains(&p.paint.name))
    {
        let name = paint.paint.name;
        let truth = paint.truth(6.0).expect("it reaches glaze depth");
        let right = verdict::grade_of_milk(truth);
        for scale in [0.5, 2.0] {
            for told in paint.told(scale, 2) {
                let milk = told.milk.expect("it reaches glaze depth");
                let miss = (milk.on_black - truth).abs();
                assert!(
                    miss < 3.0 && miss < 0.5 + 1.645 * milk.sd,
                    "{name} x{scale}: {milk:?} for {truth:.2}"
                );
                let possible = verdict::possible(milk);
                assert!(
                    possible.contains(&right),
                    "{name} x{scale}: {milk:?} for {truth:.2}"
                );
                // Another grade than the true one is never told without saying that the true one may be it.
                let words = verdict::words(
                    State::Known,
                    Some(told.grade),
                    Some((milk.on_black, milk.sd)),
                    0.5,
                    None,
                );
                assert_eq!(words.near.is_some(), possible.len() > 1, "{name}");
                if told.grade != right {
                    assert!(
                        words.near.is_some(),
                        "{name} x{scale}: {:?} for {right:?}",
                        told.grade
                    );
                }
                near += usize::from(words.near.is_some());
            }
        }
    }
    // Not every verdict is hedged: clear lakes and body colours are far from any bound.
    assert!((4..24).contains(&near), "{near} of 36 near a bound");
}

/// Films of a quarter of its thickness and noise of the usual size leave a clear paint clear.
#[test]
fn a_clear_paint_is_clear_on_every_card() {
    for paint in milk::all()
        .into_iter()
        .filter(|p| ["blue lake", "net brown", "kelp green"].contains(&p.paint.name))
    {
        for scale in [0.25, 0.5, 1.0, 2.0] {
            for told in paint.told(scale, 2) {
                assert_eq!(
                    told.grade,
                    Grade::Clear,
                    "{} x{scale}: {:?}",
                    paint.paint.name,
                    told.milk
                );
            }
        }
    }
}
