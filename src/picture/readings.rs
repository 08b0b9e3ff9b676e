//! Several readings of one tube: which of them agree, and which is the odd one out.

use nalgebra::Matrix3;

use super::{Film, Ground, MOST_BUILD, Stack, depth::Depth};
use crate::{
    Result,
    colour::{self, Lab},
    fit::uncertainty,
    paint::{Constants, Record, file::State},
    spectrum::BandCovariance,
};

/// Colours that readings are compared over: white and black as drawn in strips.
const OVER: [[f64; 3]; 2] = [[94.0, 0.0, 0.0], [10.0, 0.0, 0.0]];

/// How far one reading is from the mean of the others, and how far it may be by chance (both CIEDE2000).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Apart {
    /// From the mean of the others.
    pub difference: f64,
    /// What that may be by chance, nine times in ten.
    pub by_chance: f64,
}

/// Which of several readings of a tube belong into their mean.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Alike {
    /// Places of those that do.
    pub taken: Vec<usize>,
    /// Place of the odd one out, if there is one.
    pub odd: Option<usize>,
    /// Places of those whose scan is that of a later one: they tell nothing more.
    pub repeats: Vec<usize>,
}

/// Which of several readings belong into their mean: neither the odd one out, nor one whose scan is that of a later one, nor cards
/// whose films hide everything, where there are others that tell more.
///
/// # Errors
/// Where a film cannot be predicted.
pub fn alike(readings: &[(&Record, &Constants, Depth)]) -> Result<Alike> {
    let repeated = |i: usize| {
        let later = readings[i + 1..].iter();
        later
            .into_iter()
            .any(|(other, _, _)| readings[i].0.is_of_one_scan_with(other))
    };
    let repeats: Vec<usize> = (0..readings.len()).filter(|&i| repeated(i)).collect();
    let all: Vec<_> = readings
        .iter()
        .enumerate()
        .map(|(i, (_, paint, depth))| (!repeats.contains(&i)).then_some((*paint, *depth)))
        .collect();
    let odd = odd_one(&apart(&all, None)?);
    let rest: Vec<usize> = (0..readings.len())
        .filter(|i| odd != Some(*i) && !repeats.contains(i))
        .collect();
    let telling: Vec<usize> = rest
        .iter()
        .copied()
        .filter(|&i| is_graded(readings[i].0.state))
        .collect();
    Ok(Alike {
        taken: if telling.is_empty() { rest } else { telling },
        odd,
        repeats,
    })
}

/// Every reading against the mean of the others, at equal depth, the odd one out being no longer among the others. `None` for
/// those without constants, or alone.
///
/// # Errors
/// Where a film cannot be predicted.
pub fn apart(
    known: &[Option<(&Constants, Depth)>],
    odd: Option<usize>,
) -> Result<Vec<Option<Apart>>> {
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
                .filter(|&j| j != i && odd != Some(j))
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
                    .fold(Matrix3::zeros(), |sum, o| sum + o[ground].1)
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

/// What is said where cards that tell less are left out.
pub(crate) const HIDING_LEFT_OUT: &str = " Cards whose films hide everything are left out.";

/// What `taken` of `n` readings give, in words: `the mean of its 3 readings`.
pub(crate) fn taken_words(taken: usize, n: usize) -> String {
    match (taken, n) {
        (1, _) => format!("one of its {n} readings"),
        _ if taken == n => {
            format!("the mean of its {n} readings; what they differ by is in the range")
        }
        _ => format!("the mean of {taken} of its {n} readings"),
    }
}

/// Whether a card of this state tells how milky its paint is.
pub(crate) fn is_graded(state: State) -> bool {
    matches!(state, State::Known | State::OneFilm | State::ScatterAtMost)
}

/// A grey to lay tubes on, known exactly: what two tubes lie on is the same for both.
pub(crate) fn exact(lab: [f64; 3]) -> Ground {
    let [l, a, b] = lab;
    Ground {
        covariance: BandCovariance::zeros(),
        ..Ground::of(Lab::new(l, a, b))
    }
}

/// A tube at its depth times `coats` over a ground: colour, and covariance of L*, a*, b*.
pub(crate) fn seen(
    constants: &Constants,
    depth: Depth,
    coats: u32,
    ground: &Ground,
) -> Result<(Lab, Matrix3<f64>)> {
    let build = (depth.build * f64::from(coats)).min(MOST_BUILD);
    let stack = Stack::new(&[constants], &[Film { paint: 0, build }])?;
    let (predicted, spread) = stack.over_with_spread(ground);
    Ok((predicted.lab, spread))
}

/// CIEDE2000 that two predictions of one and the same colour would differ by at most, nine times in ten.
pub(crate) fn by_chance(lab: Lab, one: &Matrix3<f64>, other: &Matrix3<f64>) -> f64 {
    uncertainty::range(lab, &(one + other))
}
