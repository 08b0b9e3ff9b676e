//! Several readings of one tube: their mean, how far they spread, and the odd one out.

use serde::Serialize;

use super::{Known, Row, by_chance, exact, seen, signed};
use crate::{
    Result,
    colour::{self, Lab},
    paint::Constants,
    picture::{Ground, depth::Depth},
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

/// Colours that readings are compared over: white and black as drawn in strips.
const OVER: [[f64; 3]; 2] = [[94.0, 0.0, 0.0], [10.0, 0.0, 0.0]];

/// How far one reading is from the mean of the others, and how far it may be by chance (both CIEDE2000).
#[derive(Debug, Clone, Copy, PartialEq)]
struct Apart {
    difference: f64,
    by_chance: f64,
}

/// The row of a tube and the reading that stands for it: the one nearest to all others.
pub(super) fn row<'a>(known: &[(u32, &'a Known)]) -> Result<(Row, &'a Known)> {
    let apart = apart(known)?;
    let odd = odd_one(&apart);
    let stands = (0..known.len())
        .min_by(|&i, &j| {
            let far = |i: usize| apart[i].map_or(f64::INFINITY, |apart| apart.difference);
            far(i).total_cmp(&far(j))
        })
        .unwrap_or(0);
    let (id, paint) = known[stands];
    let readings = if known.len() < 2 {
        Vec::new()
    } else {
        let rows = known.iter().zip(&apart).enumerate();
        rows.map(|(i, ((id, known), apart))| reading(*id, known, *apart, odd == Some(i)))
            .collect()
    };
    let row = Row {
        id,
        name: paint.view.name.clone(),
        headline: paint.view.headline.clone(),
        milk: paint.milk_words(),
        detail: paint.detail(),
        strip: paint.view.strip.clone(),
        strip_words: paint.view.strip_words.clone(),
        predicts: paint.view.predicts,
        problem: None,
        together: together(known, &apart, odd),
        readings,
    };
    Ok((row, paint))
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
        milk: known.milk_words(),
        apart: apart.map_or_else(
            || "picture only".to_owned(),
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

/// Every reading against the mean of the others, at equal depth. `None` for those without constants, or alone.
fn apart(known: &[(u32, &Known)]) -> Result<Vec<Option<Apart>>> {
    let constants: Vec<_> = known
        .iter()
        .map(|(_, known)| {
            known
                .constants
                .as_ref()
                .map(|(paint, depth)| (paint, *depth))
        })
        .collect();
    apart_of(&constants)
}

/// Which of several readings of a tube is the odd one out, if one is.
///
/// # Errors
/// Where a film cannot be predicted.
pub(in crate::page) fn odd_of(readings: &[(&Constants, Depth)]) -> Result<Option<usize>> {
    let all: Vec<_> = readings.iter().copied().map(Some).collect();
    Ok(odd_one(&apart_of(&all)?))
}

fn apart_of(known: &[Option<(&Constants, Depth)>]) -> Result<Vec<Option<Apart>>> {
    if known.len() < 2 {
        return Ok(vec![None; known.len()]);
    }
    let grounds: Vec<Ground> = OVER.map(exact).into();
    let colours: Vec<Option<Vec<_>>> = known
        .iter()
        .map(|known| {
            let Some((constants, depth)) = *known else {
                return Ok(None);
            };
            let all = grounds
                .iter()
                .map(|ground| seen(constants, depth, 1, ground));
            all.collect::<Result<Vec<_>>>().map(Some)
        })
        .collect::<Result<_>>()?;
    Ok((0..known.len())
        .map(|i| {
            let own = colours[i].as_ref()?;
            let others: Vec<_> = (0..known.len())
                .filter(|&j| j != i)
                .filter_map(|j| colours[j].as_ref())
                .collect();
            if others.is_empty() {
                return None;
            }
            let n = others.len() as f64;
            let mut sum = Apart {
                difference: 0.0,
                by_chance: 0.0,
            };
            for (ground, (lab, spread)) in own.iter().enumerate() {
                let mean = |part: fn(Lab) -> f64| {
                    others.iter().map(|o| part(o[ground].0)).sum::<f64>() / n
                };
                let mean = Lab::new(mean(|c| c.l), mean(|c| c.a), mean(|c| c.b));
                let theirs = others
                    .iter()
                    .fold(nalgebra::Matrix3::zeros(), |sum, o| sum + o[ground].1)
                    / (n * n);
                sum.difference += colour::difference(*lab, mean) / own.len() as f64;
                sum.by_chance += by_chance(*lab, spread, &theirs) / own.len() as f64;
            }
            Some(sum)
        })
        .collect())
}

/// The one of at least three that is further off than chance allows, and at least twice as far as the middle one.
fn odd_one(apart: &[Option<Apart>]) -> Option<usize> {
    let mut all: Vec<f64> = apart
        .iter()
        .flatten()
        .map(|apart| apart.difference)
        .collect();
    if all.len() < 3 {
        return None;
    }
    all.sort_unstable_by(f64::total_cmp);
    let middle = all[(all.len() - 1) / 2];
    let (at, most) = apart
        .iter()
        .enumerate()
        .filter_map(|(i, apart)| Some((i, (*apart)?)))
        .max_by(|a, b| a.1.difference.total_cmp(&b.1.difference))?;
    // Of three, one that is off takes half of its own distance into that of the others.
    (most.difference > most.by_chance && most.difference >= 1.9 * middle).then_some(at)
}

/// What the readings say together.
fn together(known: &[(u32, &Known)], apart: &[Option<Apart>], odd: Option<usize>) -> String {
    if known.len() < 2 {
        return String::new();
    }
    let mut words = format!("{} readings of this tube.", known.len());
    let milks: Vec<f64> = known
        .iter()
        .enumerate()
        .filter(|(i, _)| odd != Some(*i))
        .filter_map(|(_, (_, known))| known.record.opacity.milk_on_black)
        .collect();
    if milks.len() > 1 {
        let mean = milks.iter().sum::<f64>() / milks.len() as f64;
        let least = milks.iter().copied().fold(f64::INFINITY, f64::min);
        let most = milks.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        words += &format!(
            " Milk on black {} on average, from {} to {} L*.",
            signed(mean),
            signed(least),
            signed(most)
        );
    }
    let known_apart: Vec<Apart> = apart.iter().flatten().copied().collect();
    match odd {
        Some(i) => {
            words += &format!(
                " One is the odd one out: {} stands {:.1} CIEDE2000 from the others.",
                known[i].1.record.provenance.file_name,
                apart[i].map_or(0.0, |apart| apart.difference)
            );
        }
        None if !known_apart.is_empty() => {
            let most = known_apart.iter().map(|a| a.difference).fold(0.0, f64::max);
            let within = known_apart.iter().all(|a| a.difference <= a.by_chance);
            words += &format!(
                " At equal depth they lie up to {most:.1} CIEDE2000 apart{}.",
                if within {
                    ", no more than their ranges let expect"
                } else {
                    ", more than their ranges let expect"
                }
            );
        }
        None => {}
    }
    words
}
