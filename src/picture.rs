//! Predictions: films of kept paints over any underpainting, with their range.
//!
//! A single film goes through the table that its constants were fitted with. Several films are joined by exact transport
//! ([`crate::film::transport`]), since light that turns between two films does not stay diffuse.
//!
//! | module | what |
//! |---|---|
//! | [`ground`] | what films lie on: a colour, its spectrum, how well both are known |
//! | [`readings`] | which of several readings of one tube agree |
//! | [`stack`] | films from the bottom up over any number of grounds |
//! | [`coat`] | the painter's own coat, by way of working |
//! | [`depth`] | tubes beside each other at equal depth |
//! | [`mean`] | several readings of one tube as one paint |
//! | [`mix`] | paints mixed directly |
//! | [`painted`] | from painted patches back to coat and scatter of a tube |
//! | [`pick`] | a colour averaged over a spot of a scan or photo |
//! | [`plan`] | the picture that is saved: underpainting colours, films, notes |
//! | [`tint`] | from a tint of known ratio to how the films of two cards compare |
//! | [`wanted`] | from a wanted colour back to tube, build and underpainting |

pub mod coat;
pub mod depth;
pub mod ground;
pub mod mean;
pub mod medium;
pub mod mix;
pub mod painted;
pub mod pick;
pub mod plan;
pub mod readings;
pub mod stack;
pub mod tint;
pub mod wanted;

use crate::{
    Result,
    colour::Lab,
    paint::{Constants, Record, verdict},
};

use depth::Depth;

pub use ground::Ground;
pub use stack::{Kept, Stack};

/// A predicted colour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Predicted {
    /// The colour, D50, 45:0, gloss excluded.
    pub lab: Lab,
    /// Nine times in ten the painted film lies within this CIEDE2000, as far as model and card tell.
    pub range: f64,
}

/// A film to be laid: which paint and how thick.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Film {
    /// Index of its paint.
    pub paint: usize,
    /// Build in units of that paint's reference film.
    pub build: f64,
}

/// Largest build that is predicted, in units of the reference film.
pub const MOST_BUILD: f64 = 100.0;
/// Most films of a stack.
pub const MOST_FILMS: usize = 20;

/// One film of a kept paint over one ground.
///
/// # Errors
/// As [`Stack::new`].
pub fn film_over(paint: &Constants, build: f64, ground: &Ground) -> Result<Predicted> {
    Ok(Stack::new(&[paint], &[Film { paint: 0, build }])?.over(ground))
}

/// A prediction in the form that the command prints.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// Colour and range.
    pub predicted: Predicted,
    /// Glaze, veil or covering here.
    pub verdict: verdict::Here,
    /// What the painter should know of this prediction.
    pub notes: Vec<String>,
}

/// Films of records, from the bottom up, over one colour.
///
/// # Errors
/// [`crate::Error::CannotPredict`] where a record has no constants or a build is out of reach.
pub fn answer(records: &[&Record], builds: &[f64], over: Lab) -> Result<Answer> {
    let tubes: Vec<&[&Record]> = records.iter().map(std::slice::from_ref).collect();
    answer_by(&tubes, builds, &Ground::of(over))
}

/// The same for tubes of which there may be several readings each: they are predicted by the mean of those that agree, as on
/// the page, in films of the first such reading's card.
///
/// # Errors
/// As [`answer`].
pub fn answer_by(tubes: &[&[&Record]], builds: &[f64], ground: &Ground) -> Result<Answer> {
    let tubes = tubes
        .iter()
        .map(|readings| Tube::of(readings))
        .collect::<Result<Vec<_>>>()?;
    // A pigment given twice is one paint.
    let first_like = |i: usize| {
        (0..=i)
            .find(|&j| tubes[j].paint == tubes[i].paint)
            .unwrap_or(i)
    };
    let films: Vec<Film> = builds
        .iter()
        .enumerate()
        .map(|(i, &build)| Film {
            paint: first_like(i),
            build,
        })
        .collect();
    let paints: Vec<&Constants> = tubes.iter().map(|tube| &tube.paint).collect();
    let stack = Stack::new(&paints, &films)?;
    let shown: Vec<&Record> = tubes.iter().map(|tube| tube.record).collect();
    let mut all: Vec<String> = Vec::new();
    for tube in tubes.iter().filter(|tube| !tube.words.is_empty()) {
        if !all.contains(&tube.words) {
            all.push(tube.words.clone());
        }
    }
    all.extend(notes(&shown, builds));
    Ok(Answer {
        predicted: stack.over(ground),
        verdict: stack.verdict_over(ground),
        notes: all,
    })
}

/// A tube by all its readings.
struct Tube<'a> {
    /// The reading that it counts in films of, and that its notes are of.
    record: &'a Record,
    paint: Constants,
    /// What several readings are predicted by; empty for one.
    words: String,
}

impl<'a> Tube<'a> {
    fn of(of: &[&'a Record]) -> Result<Self> {
        let constants = of
            .iter()
            .map(|record| record.constants())
            .collect::<Result<Vec<_>>>()?;
        let all: Vec<_> = of
            .iter()
            .zip(&constants)
            .map(|(record, paint)| (*record, paint, Depth::of(paint, record.thickest())))
            .collect();
        let Some(first) = all.first() else {
            return Err(crate::Error::CannotPredict(
                "A tube without any reading cannot be predicted.".to_owned(),
            ));
        };
        if of.len() == 1 {
            return Ok(Self {
                record: of[0],
                paint: first.1.clone(),
                words: String::new(),
            });
        }
        let alike = readings::alike(&all)?;
        let at = alike.taken.first().copied().unwrap_or(0);
        let taken: Vec<&Constants> = alike.taken.iter().map(|&i| &constants[i]).collect();
        let name = of[at].paint.name_or_unnamed();
        let scans = of.len() - alike.repeats.len();
        let mut words = if scans == 1 {
            format!("{name}: its readings are of one and the same scan, and count once.")
        } else {
            format!(
                "{name}: predicted by {}.",
                readings::taken_words(taken.len(), scans)
            )
        };
        let file = |i: usize| match of[i].provenance.file_name.as_str() {
            "" => format!("reading {}", i + 1),
            file => file.to_owned(),
        };
        if let Some(odd) = alike.odd {
            words += &format!(" {} is the odd one out and left out.", file(odd));
        }
        if scans > 1 && !alike.repeats.is_empty() {
            words += " Readings of one and the same scan count once.";
        }
        if scans - taken.len() > usize::from(alike.odd.is_some()) {
            words += readings::HIDING_LEFT_OUT;
        }
        if at > 0 && scans > 1 {
            words += &format!(" Its films are those of the card in {}.", file(at));
        }
        let known: Vec<_> = all
            .iter()
            .enumerate()
            .map(|(i, (_, paint, depth))| (!alike.repeats.contains(&i)).then_some((*paint, *depth)))
            .collect();
        let far = readings::apart(&known, alike.odd)?;
        let far = alike.taken.iter().filter_map(|&i| far[i]);
        let furthest = far
            .filter(|apart| apart.difference > apart.by_chance)
            .max_by(|a, b| a.difference.total_cmp(&b.difference));
        if let Some(apart) = furthest {
            words += &format!(
                " At equal depth these readings lie up to {:.1} CIEDE2000 apart, more than their ranges let expect ({:.1}): see that all are of this tube.",
                apart.difference, apart.by_chance
            );
        }
        Ok(Self {
            record: of[at],
            paint: mean::mean(&constants[at], &taken),
            words,
        })
    }
}

/// How many times as thick as the thickest film of its card, or as thin as the thinnest, a film may be before it is said (ours).
pub(crate) const BEYOND: f64 = 1.5;

fn notes(records: &[&Record], builds: &[f64]) -> Vec<String> {
    let mut notes = Vec::new();
    for (record, &build) in records.iter().zip(builds) {
        let name = record.paint.name_or_unnamed();
        let thinnest = record
            .films
            .iter()
            .map(|film| film.build)
            .fold(f64::INFINITY, f64::min);
        let all = [
            verdict::state_words(record.state),
            verdict::guess_words(record.state, build, thinnest),
            verdict::surface_words(record.surface, record.reads_dull()),
        ];
        for words in all.into_iter().filter(|words| !words.is_empty()) {
            notes.push(format!("{name}: {words}"));
        }
        if build > BEYOND * record.thickest() {
            notes.push(format!(
                "{name}: thicker than any film on its card; the range is a guess beyond it."
            ));
        } else if build < thinnest / BEYOND {
            notes.push(format!(
                "{name}: thinner than any film on its card, so beyond what was measured."
            ));
        }
        if record.dry.0 == "no" {
            notes.push(format!(
                "{name}: its card was not dry when scanned. Scan again when it is."
            ));
        }
        if !record.stripes.sealed {
            notes.push(format!(
                "{name}: its card was not sealed, so the range is wider."
            ));
        }
    }
    notes
}
