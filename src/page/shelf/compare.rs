//! Tubes beside each other at equal depth.

use serde::Serialize;

use super::OpenShelf;
use crate::{
    Error, Result, colour,
    page::{Tone, difference_word},
    picture::readings::{by_chance, exact, seen},
};

/// Most tubes that are compared at once.
const MOST: usize = 8;
/// What they are laid over: the white and black of strips, and a grey between.
const OVER: [(&str, [f64; 3]); 3] = [
    ("white", [94.0, 0.0, 0.0]),
    ("grey", [55.0, 0.0, 0.0]),
    ("black", [10.0, 0.0, 0.0]),
];
/// Coats of them.
const COATS: u32 = 2;

/// Tubes compared.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CompareView {
    /// What they are laid over.
    pub over: Vec<&'static str>,
    /// One a tube, the first being what the others are compared with.
    pub rows: Vec<CompareRow>,
    /// How they are made comparable.
    pub words: String,
}

/// One tube.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CompareRow {
    /// Its number.
    pub id: u32,
    /// Its name.
    pub name: String,
    /// Maker, code, batch.
    pub detail: String,
    /// Verdict in two or three words, and milk on black.
    pub short: String,
    /// For one coat and for two, its colours over each ground.
    pub coats: Vec<Vec<Tone>>,
    /// What sets it apart from the first tube.
    pub difference: String,
}

impl OpenShelf {
    /// Compares tubes, in this order; several readings of one as their mean.
    ///
    /// # Errors
    /// When there are fewer than two, too many, or one without constants.
    pub fn compare(&mut self, ids: &[u32]) -> Result<CompareView> {
        self.join()?;
        let mut tubes = Vec::new();
        for &id in ids {
            // One that was deleted meanwhile is passed over.
            let Some(known) = self.tube(id) else {
                continue;
            };
            let Some((constants, depth)) = &known.constants else {
                known.record.constants()?;
                continue;
            };
            tubes.push((id, known, constants, *depth));
        }
        if !(2..=MOST).contains(&tubes.len()) {
            return Err(Error::Refused(format!(
                "Choose two to {MOST} tubes to compare."
            )));
        }
        let grounds = OVER.map(|(_, lab)| exact(lab));
        let colours: Vec<Vec<Vec<_>>> = tubes
            .iter()
            .map(|(_, _, constants, depth)| {
                let coat = |n| {
                    grounds
                        .iter()
                        .map(|ground| seen(constants, *depth, n, ground))
                        .collect()
                };
                (1..=COATS).map(coat).collect::<Result<_>>()
            })
            .collect::<Result<_>>()?;
        let rows = tubes
            .iter()
            .zip(&colours)
            .enumerate()
            .map(|(i, ((id, known, _, depth), own))| {
                let apart: Vec<(f64, f64)> = own
                    .iter()
                    .flatten()
                    .zip(colours[0].iter().flatten())
                    .map(|((lab, spread), (first, theirs))| {
                        (
                            colour::difference(*lab, *first),
                            by_chance(*lab, spread, theirs),
                        )
                    })
                    .collect();
                let milk = &known.view.milk;
                let mut short = known.view.short.clone();
                if !milk.is_empty() {
                    short += &format!("; {milk}");
                }
                if !depth.reached {
                    short += "; shown as on its card, since it never reaches glaze depth";
                }
                CompareRow {
                    id: *id,
                    name: known.view.name.clone(),
                    detail: known.detail(),
                    short,
                    coats: own
                        .iter()
                        .map(|coat| coat.iter().map(|(lab, _)| Tone::from(*lab)).collect())
                        .collect(),
                    difference: if i == 0 {
                        String::new()
                    } else {
                        difference(&apart, &tubes[0].1.view.name)
                    },
                }
            })
            .collect();
        Ok(CompareView {
            over: OVER.map(|(name, _)| name).to_vec(),
            rows,
            words: "One coat and two, each tube thinned until white falls equally.".to_owned(),
        })
    }
}

/// The largest difference in words, against what the two cards leave open.
fn difference(apart: &[(f64, f64)], first: &str) -> String {
    let places = OVER.len();
    let (at, &(most, chance)) = apart
        .iter()
        .enumerate()
        .max_by(|a, b| (a.1.0 - a.1.1).total_cmp(&(b.1.0 - b.1.1)))
        .expect("tubes are laid over something");
    let place = format!(
        "{} over {}",
        if at < places { "one coat" } else { "two coats" },
        OVER[at % places].0
    );
    let greatest = apart.iter().map(|a| a.0).fold(0.0, f64::max);
    if most > chance {
        format!(
            "Not the same as {first}: {most:.1} CIEDE2000 apart in {place}, where the two cards leave open at most {chance:.1}. That is {}.",
            difference_word(most)
        )
    } else {
        format!(
            "Cannot be told from {first}: up to {greatest:.1} CIEDE2000 apart, never more than the two cards leave open ({chance:.1} in {place})."
        )
    }
}
