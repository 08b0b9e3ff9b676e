//! A kept card read again by the fit of now: what that would change, before it does.

use serde::Serialize;

use super::paint::short_verdict;
use crate::{
    Result, colour,
    colour::Lab,
    paint::{Record, verdict::signed},
    picture::{Ground, film_over},
    reading,
};

/// What reading a kept card again would change.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reread {
    /// In sentences.
    pub words: Vec<String>,
    /// The pigment file as it would be.
    pub text: String,
}

/// What films are compared over.
const OVER: [(&str, f64); 3] = [("white", 94.0), ("grey", 55.0), ("black", 10.0)];
/// A smaller change nobody would see (ours).
const NOTHING: f64 = 0.1;
/// Ranges that become more than so much narrower or wider, as a share of what they are, are told (ours).
const NARROWER: f64 = 0.95;
const WIDER: f64 = 1.05;

/// Reads a kept card again from its cells.
///
/// # Errors
/// As [`reading::again`].
pub fn reread(kept: &Record) -> Result<Reread> {
    let new = reading::again(kept)?;
    let mut words = Vec::new();
    match (kept.constants(), new.constants()) {
        (Ok(old), Ok(now)) => {
            let mut most = (0.0, 0.0, 0, "");
            let (mut ranges, mut narrower) = (0.0, 0.0);
            for (i, (film, again)) in kept.films.iter().zip(&new.films).enumerate() {
                for (name, l) in OVER {
                    let ground = Ground::of(Lab::new(l, 0.0, 0.0));
                    let before = film_over(&old, film.build, &ground)?;
                    let after = film_over(&now, again.build, &ground)?;
                    let by = colour::difference(before.lab, after.lab);
                    ranges += before.range;
                    narrower += after.range;
                    if by >= most.0 {
                        most = (by, before.range, i + 1, name);
                    }
                }
            }
            let (by, range, film, over) = most;
            words.push(if by < NOTHING {
                "No colour of this card’s films would change so that it could be seen.".to_owned()
            } else {
                format!(
                    "The films of this card would be predicted up to {by:.1} CIEDE2000 otherwise, film {film} over {over}: {} the range of {range:.1} told there so far.",
                    if by <= range { "within" } else { "outside" }
                )
            });
            let share = narrower / ranges;
            if share < NARROWER {
                words.push(format!(
                    "Its ranges would be narrower, {:.0} % of what they are.",
                    100.0 * share
                ));
            } else if share > WIDER {
                words.push(format!(
                    "Its ranges would be wider, {:.0} % of what they are: this older file does not keep all that its scan told.",
                    100.0 * share
                ));
            }
        }
        (Err(_), Ok(_)) => words.push("It would have constants, and could be predicted.".to_owned()),
        (_, Err(_)) => words.push(
            "Its cells do not go together as films of any paint that is modelled: it would have no constants."
                .to_owned(),
        ),
    }
    let milk = |record: &Record| {
        let milk = record.opacity.milk_on_black;
        milk.map_or("none".to_owned(), |milk| format!("{} L*", signed(milk)))
    };
    let (was, becomes) = (milk(kept), milk(&new));
    if was != becomes {
        words.push(format!("Milk on black: {was} now, {becomes} then."));
    }
    let (was, becomes) = (short_verdict(kept), short_verdict(&new));
    if was != becomes {
        words.push(format!("Verdict: {was} now, {becomes} then."));
    }
    Ok(Reread {
        words,
        text: new.write(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is kept is enough: read again by the same program nothing changes, neither colours nor ranges.
    #[test]
    fn read_again_by_the_same_program_nothing_changes() {
        for name in [
            "cliff-rose",
            "foam-white",
            "net-brown",
            "rope-ochre",
            "lantern-gold",
        ] {
            let file = format!(
                "{}/sample-scans/{name}.pigment.json",
                env!("CARGO_MANIFEST_DIR")
            );
            let kept = Record::read(&std::fs::read_to_string(file).unwrap()).unwrap();
            let words = reread(&kept).unwrap().words;
            assert!(
                !words.iter().any(|words| words.contains("ranges")),
                "{name} {words:?}"
            );
        }
    }

    #[test]
    fn what_would_change_is_told_first() {
        let text = include_str!("../../sample-scans/cliff-rose.pigment.json");
        let kept = Record::read(text).unwrap();
        let mut old = kept.clone();
        old.absorption.iter_mut().for_each(|k| *k *= 2.0);
        old.opacity.milk_on_black = Some(-9.0);
        let told = reread(&old).unwrap();
        assert!(
            told.words[0].contains("outside the range"),
            "{:?}",
            told.words
        );
        assert!(
            told.words
                .iter()
                .any(|w| w.starts_with("Milk on black: −9.0 L* now")),
            "{:?}",
            told.words
        );
        // Taken, a second time says that nothing changes.
        let taken = Record::read(&told.text).unwrap();
        let again = reread(&taken).unwrap();
        assert!(again.words[0].starts_with("No colour"), "{:?}", again.words);
        assert_eq!(again.words.len(), 1, "{:?}", again.words);
    }
}
