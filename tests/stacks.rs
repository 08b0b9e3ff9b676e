//! Two and three films over coloured grounds against exact light transport, from true constants and from cards. Bounds lie a
//! little above what `cargo run --example score_sets` prints.

#[path = "support/score.rs"]
mod score;
#[path = "support/sets.rs"]
mod sets;
#[path = "support/simple_ways.rs"]
mod simple_ways;
#[path = "support/stacks.rs"]
mod stacks;

use score::Tally;
use stacks::StackSet;

#[track_caller]
fn assert_within(what: &str, tally: &Tally, median: f64, high: f64) {
    let (m, h) = (tally.median(), tally.high());
    assert!(m <= median && h <= high, "{what}: {m:.3} {h:.3}");
}

/// From true constants over known spectra the optics alone are judged.
#[test]
fn stacks_of_another_program() {
    let set = stacks::stored();
    let (colours, spectra) = (set.coloured(), set.known());
    assert_within(
        "true",
        &set.score(&set.true_constants(), &spectra),
        0.03,
        0.1,
    );
    // Fitted through optics that have to find out the anisotropy: 1.2 and 3.8 when it is fixed at 0.4.
    let clean = set.score(&set.fitted(&set.cells(None)), &colours);
    assert_within("clean cards", &clean, 0.8, 2.5);
    let cells = set.cells(Some(0));
    let noisy = set.score(&set.fitted(&cells), &colours);
    assert_within("noisy cards", &noisy, 1.1, 4.5);
    for (what, tally) in [("clean", &clean), ("noisy", &noisy)] {
        assert!(tally.held() >= 0.85, "{what}: {}", tally.held());
        assert!(tally.width() < 6.0, "{what}: {}", tally.width());
    }
    let (fluxes, wide) = (set.two_flux(&cells, &colours), set.wide(&cells, &colours));
    assert!(noisy.median() < 0.7 * fluxes.median() && noisy.median() < 0.3 * wide.median());
}

/// Stacks of paints that scatter evenly to strongly forward, alike or mixed.
#[test]
fn stacks_at_other_anisotropies() {
    let sets: Vec<StackSet> = stacks::invented(4);
    let (mut clean, mut noisy) = (Tally::new(), Tally::new());
    for set in &sets {
        // Eight directions blur a strongly forward peak; what is fitted through the same optics makes up for most of it.
        let (median, high) = if set.name.starts_with("forward") {
            (1.2, 1.7)
        } else {
            (0.15, 0.5)
        };
        assert_within(
            set.name,
            &set.score(&set.true_constants(), &set.known()),
            median,
            high,
        );
        clean.append(&set.score(&set.fitted(&set.cells(None)), &set.coloured()));
        noisy.append(&set.score(&set.fitted(&set.cells(Some(1))), &set.coloured()));
    }
    // With K free to bend more than real materials' does these were under 3.0 and 4.0: a few of these paints have corners that none of
    // those has (DEVELOPERS.md, *The prior of K is as smooth as materials are*).
    assert_within("clean cards", &clean, 0.8, 3.8);
    assert_within("noisy cards", &noisy, 1.0, 5.0);
    for (what, tally) in [("clean", &clean), ("noisy", &noisy)] {
        assert!(tally.held() >= 0.85, "{what}: {}", tally.held());
        assert!(tally.width() < 5.0, "{what}: {}", tally.width());
    }
}
