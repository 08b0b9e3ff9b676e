//! Where a film that was not pulled across all stripes begins and ends.

use std::ops::Range;

use super::{BareStripe, Crossing};
use crate::card::Ground;

/// Change of additive values below which a film cannot be told from a bare stripe.
const VISIBLE: f64 = 0.02;
/// Share of the film's usual change below which a crossing holds (nearly) no film.
const ABSENT: f64 = 0.5;
/// The same where only two crossings can be compared.
const ABSENT_OF_TWO: f64 = 0.3;

/// The stripes that a film surely crosses, judged on the ground that it changes most. All of them when nothing speaks
/// against it.
pub(super) fn reach(
    crossings: &[&Crossing],
    white: &BareStripe,
    black: &BareStripe,
) -> Range<usize> {
    let last = crossings
        .iter()
        .map(|crossing| crossing.stripe)
        .max()
        .unwrap_or(0);
    let all = 0..last + 1;
    let changes = [(Ground::White, white), (Ground::Black, black)]
        .map(|(ground, bare)| changes(crossings, ground, bare));
    let [white, black] = changes;
    let changes = if size(&usual(&white)) >= size(&usual(&black)) {
        white
    } else {
        black
    };
    let usual = usual(&changes);
    if changes.len() < 2 || size(&usual) < VISIBLE {
        return all;
    }
    let limit = if changes.len() == 2 {
        ABSENT_OF_TWO
    } else {
        ABSENT
    };
    let present = |change: &[f64; 3]| dot(change, &usual) >= limit * dot(&usual, &usual);
    let first = changes.iter().position(|(_, change)| present(change));
    let end = changes.iter().rposition(|(_, change)| present(change));
    let (Some(first), Some(end)) = (first, end) else {
        return all;
    };
    // The film ends somewhere between the last stripe where it is seen and the first where it is not.
    let from = if first == 0 { 0 } else { changes[first].0 };
    let to = if end + 1 == changes.len() {
        all.end
    } else {
        changes[end].0 + 1
    };
    from..to
}

/// Stripe and change from bare, stripes from left to right.
fn changes(crossings: &[&Crossing], ground: Ground, bare: &BareStripe) -> Vec<(usize, [f64; 3])> {
    let mut changes: Vec<_> = crossings
        .iter()
        .filter(|crossing| crossing.ground == ground)
        .map(|crossing| {
            (
                crossing.stripe,
                std::array::from_fn(|c| crossing.additive[c] - bare.additive[c]),
            )
        })
        .collect();
    crate::order::sort_by_number(&mut changes, |change| change.0 as f64);
    changes
}

/// The larger of two, the middle one of more.
fn usual(changes: &[(usize, [f64; 3])]) -> [f64; 3] {
    let mut sorted: Vec<[f64; 3]> = changes.iter().map(|change| change.1).collect();
    crate::order::sort_by_number(&mut sorted, size);
    sorted.get(sorted.len() / 2).copied().unwrap_or_default()
}

fn size(change: &[f64; 3]) -> f64 {
    dot(change, change).sqrt()
}

fn dot(a: &[f64; 3], b: &[f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}
