//! Several readings of one tube: their mean, how far they spread, and the odd one out.

use serde::Serialize;

use super::{Known, Row};
use crate::{
    Result, colour,
    film::surface,
    paint::{
        Constants, Record,
        verdict::{self, signed},
    },
    picture::{
        depth::Depth,
        mean,
        readings::{self, Apart, alike, is_graded},
    },
    spectrum::{self, BANDS},
};

/// One of several readings of a tube.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ReadingRow {
    /// Its number.
    pub id: u32,
    /// Where it came from: file, and the day.
    pub from: String,
    /// Verdict in two or three words.
    pub short: String,
    /// Milk on black, with its range.
    pub milk: String,
    /// How far it is from the others.
    pub apart: String,
    /// Whether it is the odd one out.
    pub odd: bool,
}

/// Several readings of one tube as one paint.
pub(super) struct Joined {
    /// Numbers of the readings, in the order in which they were kept.
    pub ids: Vec<u32>,
    /// Number of the reading that is opened for the tube: of those in the mean the one nearest to it.
    pub stands: u32,
    /// The mean, in films of that reading's card; the reading itself where none has constants.
    pub known: Known,
    rows: Vec<ReadingRow>,
    together: String,
}

impl Joined {
    /// Joins two or more readings.
    ///
    /// # Errors
    /// Where a film cannot be predicted.
    pub(super) fn of(readings: &[(u32, &Known)]) -> Result<Self> {
        let with: Vec<(usize, &Known, &Constants, Depth)> = readings
            .iter()
            .enumerate()
            .filter_map(|(i, (_, known))| {
                let (constants, depth) = known.constants.as_ref()?;
                Some((i, *known, constants, *depth))
            })
            .collect();
        let all: Vec<_> = with
            .iter()
            .map(|(_, known, paint, depth)| (&known.record, *paint, *depth))
            .collect();
        let alike = alike(&all)?;
        let odd = alike.odd.map(|at| with[at].0);
        let repeats: Vec<usize> = alike.repeats.iter().map(|&at| with[at].0).collect();
        let apart = apart(readings, odd, &repeats)?;
        let far = |i: usize| apart[i].map_or(f64::INFINITY, |apart| apart.difference);
        let taken: Vec<usize> = alike.taken.iter().map(|&at| with[at].0).collect();
        let at = taken
            .iter()
            .copied()
            .min_by(|&i, &j| far(i).total_cmp(&far(j)))
            .unwrap_or(0);
        let (stands, reading_of) = readings[at];
        let known = match &reading_of.constants {
            Some((own, _)) => {
                let paints: Vec<&Constants> = alike.taken.iter().map(|&at| with[at].2).collect();
                let mean = mean::mean(own, &paints);
                let depth = Depth::of(&mean, reading_of.record.thickest());
                Known {
                    constants: Some((mean.clone(), depth)),
                    ..Known::of_record(as_mean(&reading_of.record, &mean))?
                }
            }
            None => Known::of_record(reading_of.record.clone())?,
        };
        let rows = readings.iter().zip(&apart).enumerate();
        Ok(Self {
            ids: readings.iter().map(|(id, _)| *id).collect(),
            stands,
            rows: rows
                .map(|(i, ((id, known), apart))| {
                    let row = reading(*id, known, *apart, odd == Some(i));
                    if repeats.contains(&i) {
                        ReadingRow {
                            apart: "read from the same scan as a later one, which stands for both"
                                .to_owned(),
                            ..row
                        }
                    } else {
                        row
                    }
                })
                .collect(),
            together: together(readings, &known, &apart, odd, &repeats),
            known,
        })
    }

    /// The row of the tube.
    pub(super) fn row(&self) -> Row {
        Row {
            readings: self.rows.clone(),
            together: self.together.clone(),
            ..alone(self.stands, &self.known)
        }
    }
}

/// The row of a tube that was read once.
pub(super) fn alone(id: u32, known: &Known) -> Row {
    Row {
        id,
        name: known.view.name.clone(),
        headline: known.view.headline.clone(),
        milk: known.view.milk.clone(),
        detail: known.detail(),
        strip: known.view.strip.clone(),
        strip_words: known.view.strip_words.clone(),
        predicts: known.view.predicts,
        problem: None,
        readings: Vec::new(),
        together: String::new(),
    }
}

/// A card's record as if its constants were the mean of several readings, to be shown and never kept: the cells are those of
/// one card.
pub(in crate::page) fn as_mean(card: &Record, mean: &Constants) -> Record {
    let mut record = card.clone();
    record.absorption = mean.absorption.to_vec();
    record.scattering = mean.scattering.to_vec();
    record.basis.transport.anisotropy = mean.anisotropy;
    let sd = |from: usize| -> Vec<f64> {
        let variances = (from..from + BANDS).map(|i| mean.covariance[(i, i)]);
        variances.map(|variance| variance.max(0.0).sqrt()).collect()
    };
    record.uncertainty.log_absorption_sd = sd(0);
    record.uncertainty.log_scattering_sd = sd(BANDS);
    let thickest = record.thickest();
    let lab = |reflectance: &spectrum::Bands| {
        let lab = colour::lab(spectrum::xyz_of(reflectance));
        [lab.l, lab.a, lab.b]
    };
    let opacity = &mut record.opacity;
    if is_graded(card.state) {
        let milk = verdict::milk(mean, thickest);
        let hiding = verdict::hiding_build(mean, 10.0 * thickest);
        opacity.milk_on_black = milk.map(|milk| milk.on_black);
        opacity.milk_sd = milk.map(|milk| milk.sd);
        opacity.hiding_build = hiding;
        opacity.grade = Some(verdict::grade(milk, hiding, thickest));
    }
    if opacity.masstone_lab.is_some() {
        opacity.masstone_lab = Some(lab(&mean.masstone()));
    }
    let thinnest = card.films.iter().map(|film| film.build);
    let thinnest = thinnest.fold(f64::INFINITY, f64::min);
    let white: Option<spectrum::Bands> = card.stripes.white_spectrum.as_slice().try_into().ok();
    if let Some(white) = white.filter(|_| opacity.undertone_lab.is_some()) {
        let below = white.map(surface::to_internal);
        opacity.undertone_lab = Some(lab(&mean.over(thinnest, &below).reflectance));
    }
    record
}

fn reading(id: u32, known: &Known, apart: Option<Apart>, odd: bool) -> ReadingRow {
    let record = &known.record;
    let day = match record.paint.drawn_on.trim() {
        "" => record.provenance.when.get(..10).unwrap_or_default(),
        day => day,
    };
    let from = [record.provenance.file_name.as_str(), day]
        .into_iter()
        .filter(|text| !text.is_empty())
        .collect::<Vec<_>>()
        .join(", ");
    ReadingRow {
        id,
        from: if from.is_empty() {
            format!("reading {id}")
        } else {
            from
        },
        short: known.view.short.clone(),
        milk: known.view.milk.clone(),
        apart: apart.map_or_else(
            || match known.constants {
                None => "picture only".to_owned(),
                // There is no other to be apart from.
                Some(_) => String::new(),
            },
            |apart| {
                format!(
                    "{:.1} from the others, by chance up to {:.1}",
                    apart.difference, apart.by_chance
                )
            },
        ),
        odd,
    }
}

/// Every reading against the mean of the others, at equal depth, the odd one out being no longer among the others. `None` for
/// those without constants, or alone.
fn apart(
    known: &[(u32, &Known)],
    odd: Option<usize>,
    repeats: &[usize],
) -> Result<Vec<Option<Apart>>> {
    let constants: Vec<_> = known
        .iter()
        .enumerate()
        .map(|(i, (_, known))| {
            let (paint, depth) = known.constants.as_ref()?;
            (!repeats.contains(&i)).then_some((paint, *depth))
        })
        .collect();
    readings::apart(&constants, odd)
}

/// What the readings say together: their mean, how far they spread, and the odd one out.
fn together(
    known: &[(u32, &Known)],
    mean: &Known,
    apart: &[Option<Apart>],
    odd: Option<usize>,
    repeats: &[usize],
) -> String {
    let mut words = format!("{} readings of this tube.", known.len());
    if !repeats.is_empty() {
        words += " Those of one and the same scan count once: they tell no more than one.";
    }
    let alike = || (0..known.len()).filter(|&i| odd != Some(i) && !repeats.contains(&i));
    let milks: Vec<f64> = alike()
        .filter_map(|i| known[i].1.record.opacity.milk_on_black)
        .collect();
    if let (Some(milk), true) = (mean.record.opacity.milk_on_black, milks.len() > 1) {
        let least = milks.iter().copied().fold(f64::INFINITY, f64::min);
        let most = milks.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        words += &format!(
            " Milk on black {} for their mean, {} to {} L* one by one.",
            signed(milk),
            signed(least),
            signed(most)
        );
    }
    if let Some((i, apart)) = odd.and_then(|i| Some((i, apart[i]?))) {
        words += &format!(
            " One is the odd one out and not in the mean: {} stands {:.1} CIEDE2000 from the others.",
            known[i].1.record.provenance.file_name, apart.difference
        );
    }
    let spread: Vec<Apart> = alike().filter_map(|i| apart[i]).collect();
    if !spread.is_empty() {
        let most = spread.iter().map(|a| a.difference).fold(0.0, f64::max);
        let within = spread.iter().all(|a| a.difference <= a.by_chance);
        words += &format!(
            " At equal depth {} lie up to {most:.1} CIEDE2000 apart, {} than their ranges let expect.",
            if odd.is_some() { "the others" } else { "they" },
            if within { "no more" } else { "more" }
        );
    }
    words
}
