//! The glaze beside the same colour mixed directly and laid on full.

use serde::{Deserialize, Serialize};

use super::{
    OpenPicture,
    notes::{is_acrylic, is_oil},
    tints::Tied,
    view::Spot,
    words,
};
use crate::{
    Error, Result,
    colour::{self, Lab},
    fit::uncertainty,
    page::{difference_word, glaze::listed},
    paint::{Constants, file::Measure, verdict},
    picture::{
        Predicted,
        mix::{self, Unit},
        plan::MOST_PARTS,
    },
};

/// Parts of one tube.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Part {
    /// Key of the tube.
    pub key: String,
    /// Parts by volume; by weight where all films were weighed.
    pub parts: f64,
}

/// The glaze beside the mix.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MixView {
    /// Name of the chosen colour.
    pub over: String,
    /// The films that are there over it.
    pub glaze: Spot,
    /// The mix, too thick to see through.
    pub mix: Spot,
    /// What is in the mix.
    pub parts: Vec<Part>,
    /// How the mix differs from the glaze, in words.
    pub difference: String,
    /// Paint in the mix to paint in the glaze, in words; empty where no film of the mix hides.
    pub pigment: String,
    /// What speaks against mixing these at all; empty where nothing is known that does.
    pub caution: String,
    /// What the range rests on: whether the cards share a unit.
    pub unit: String,
    /// Whether they do.
    pub common: bool,
    /// Whether parts are by weight.
    pub by_weight: bool,
    /// What each tint that is kept with these tubes tells, or why it does not.
    pub tints: Vec<String>,
}

/// How parts of several tubes compare.
struct Compared {
    unit: Unit,
    /// For each of them, how many films of its card there are in one part, and the standard deviation of the logarithm of that.
    films: Vec<(f64, f64)>,
    /// What that rests on, in words.
    words: String,
    by_weight: bool,
}

/// Thickest film of a mix that is looked at for hiding, in films of the cards.
const THICKEST: f64 = 200.0;

impl OpenPicture {
    /// Mixes tubes and lays the mix beside the films over the chosen colour. Without parts: those that come nearest, from the
    /// tubes of the films and a white.
    ///
    /// # Errors
    /// [`Error::Refused`] where there is nothing to compare or mix.
    pub fn mixed(&mut self, parts: &[Part], white: Option<&str>) -> Result<MixView> {
        self.ground_all();
        let films = self.laid();
        let Some((colour, ground)) = self.grounds.get(self.colour) else {
            return Err(Error::Refused(
                "Add a colour to the underpainting first.".to_owned(),
            ));
        };
        if films.is_empty() {
            return Err(Error::Refused(
                "Lay a film first: the mix is compared with it.".to_owned(),
            ));
        }
        let laid_sd = self.laid_sd();
        let films: Vec<_> = films.into_iter().map(|(_, film)| film).collect();
        let paints: Vec<&Constants> = self.tubes.iter().map(|t| &t.constants).collect();
        let stack = self.kept.stack(&paints, &films)?.with_build_sd(&laid_sd);
        let glaze = stack.over(ground);
        let over = colour.name.clone();
        let mut in_mix: Vec<(usize, f64)> = Vec::new();
        for part in parts {
            if !(0.0..=MOST_PARTS).contains(&part.parts) {
                return Err(Error::Refused(format!(
                    "Give parts from 0 to {MOST_PARTS:.0}."
                )));
            }
            let at = self.tubes.iter().position(|t| t.key == part.key);
            in_mix.push((at.ok_or_else(gone)?, part.parts));
        }
        if in_mix.is_empty() {
            for film in &films {
                if in_mix.iter().all(|(paint, _)| *paint != film.paint) {
                    in_mix.push((film.paint, 1.0));
                }
            }
            if let Some(white) = white {
                let at = self.tubes.iter().position(|t| t.key == white);
                let at = at.ok_or_else(gone)?;
                if in_mix.iter().all(|(paint, _)| *paint != at) {
                    in_mix.push((at, 1.0));
                }
            }
            if in_mix.len() < 2 {
                return Err(Error::Refused(
                    "A mix takes two tubes: choose another here, a white most of all. If there is none to choose, read its card first."
                        .to_owned(),
                ));
            }
            let compared = self.compared(&in_mix);
            self.bring_near(&mut in_mix, glaze.lab, &compared);
        }
        if in_mix.iter().all(|(_, parts)| *parts == 0.0) {
            return Err(Error::Refused(
                "Give at least one tube some parts.".to_owned(),
            ));
        }
        let compared = self.compared(&in_mix);
        let unit = compared.unit;
        let mixed = self.mix_of(&in_mix, &compared);
        let (lab, spread) = mix::too_thick(&mixed).lab_with_spread(&mixed.covariance);
        let range = uncertainty::range(lab, &spread);
        let by = colour::difference(glaze.lab, lab);
        // A film of the glaze that is not in the mix counts as one part, as any does whose cards cannot be compared.
        let films_of = |paint: usize| {
            let at = in_mix.iter().position(|(of, _)| *of == paint);
            at.map_or(1.0, |at| compared.films[at].0)
        };
        let laid: f64 = films
            .iter()
            .map(|film| film.build / films_of(film.paint))
            .sum();
        let pigment = verdict::hiding_build(&mixed, THICKEST).map_or(String::new(), |thick| {
            // Films of their cards in the mix, and parts of the coloured paints among all that is weighed or measured out.
            let whole: f64 = in_mix
                .iter()
                .map(|(paint, parts)| parts * films_of(*paint))
                .sum();
            let coloured: f64 = in_mix
                .iter()
                .filter(|(paint, _)| films.iter().any(|film| film.paint == *paint))
                .map(|(_, parts)| parts)
                .sum();
            let ratio = thick * coloured / whole / laid;
            match (unit, ratio) {
                (Unit::Unknown, r) if (0.5..2.0).contains(&r) => {
                    "Which of the two takes more of the coloured paint cannot be said.".to_owned()
                }
                (_, r) if r >= 1.0 => format!(
                    "To hide, the mix takes about {} times as much of the coloured paint as the glaze.",
                    round(r)
                ),
                (_, r) => format!(
                    "To hide, the mix takes about {:.0} % of the coloured paint of the glaze.",
                    100.0 * r
                ),
            }
        });
        Ok(MixView {
            over,
            difference: if by < 1.0 {
                "The mix meets the glaze: you would hardly see a difference here.".to_owned()
            } else {
                format!(
                    "Beside the glaze the mix is {}: {}.",
                    words::change(glaze.lab, lab),
                    difference_word(by)
                )
            },
            glaze: glaze.into(),
            mix: Predicted { lab, range }.into(),
            parts: in_mix
                .iter()
                .map(|(paint, parts)| Part {
                    key: self.tubes[*paint].key.clone(),
                    parts: *parts,
                })
                .collect(),
            pigment,
            caution: if in_mix.iter().any(|(paint, _)| is_oil(&self.tubes[*paint]))
                && in_mix
                    .iter()
                    .any(|(paint, _)| is_acrylic(&self.tubes[*paint]))
            {
                "Oil and acrylic do not mix: this comparison is of colours only.".to_owned()
            } else {
                String::new()
            },
            tints: self.tint_words(&in_mix),
            unit: compared.words,
            common: unit != Unit::Unknown,
            by_weight: compared.by_weight,
        })
    }

    fn mix_of(&self, parts: &[(usize, f64)], compared: &Compared) -> Constants {
        let parts: Vec<(&Constants, f64, f64)> = parts
            .iter()
            .zip(&compared.films)
            .map(|((paint, parts), (films, sd))| {
                (&self.tubes[*paint].constants, parts * films, *sd)
            })
            .collect();
        mix::mix_each(&parts)
    }

    /// Parts whose mix comes nearest to a colour: each tube's in turn, the first of them held.
    fn bring_near(&self, parts: &mut [(usize, f64)], wanted: Lab, compared: &Compared) {
        let miss = |parts: &[(usize, f64)]| {
            let mixed = self.mix_of(parts, compared);
            colour::difference(mix::too_thick(&mixed).lab_of(), wanted)
        };
        let mut step = 4.0;
        while step > 1.01 {
            let mut better = false;
            for i in 1..parts.len() {
                for by in [step, 1.0 / step] {
                    let mut other = parts.to_vec();
                    other[i].1 = (other[i].1 * by).clamp(1e-4, 1e4);
                    if miss(&other) < miss(parts) - 1e-9 {
                        parts.copy_from_slice(&other);
                        better = true;
                    }
                }
            }
            if !better {
                step = step.sqrt();
            }
        }
        // In hundredths of the whole, which one can weigh out.
        let whole: f64 = parts.iter().map(|(_, parts)| parts).sum();
        for (_, parts) in parts.iter_mut() {
            *parts = (1000.0 * *parts / whole).round() / 10.0;
        }
    }

    /// How parts of these tubes compare: by weighed films, or by whichever of one gauge and tints is surer.
    fn compared(&self, parts: &[(usize, f64)]) -> Compared {
        let alike = |unit: Unit| vec![(1.0, unit.log_sd()); parts.len()];
        let weights: Option<Vec<f64>> = parts
            .iter()
            .map(|(paint, _)| self.tubes[*paint].record.film_weight)
            .collect();
        if let Some(weights) = weights.filter(|_| parts.len() > 1) {
            let unit = Unit::Weighed;
            return Compared {
                unit,
                films: weights.iter().map(|w| (1.0 / w, unit.log_sd())).collect(),
                words:
                    "A film of each of these cards was weighed, so their parts, by weight, compare."
                        .to_owned(),
                by_weight: true,
            };
        }
        let gauges: Vec<String> = parts.iter().map(|(paint, _)| self.gauge(*paint)).collect();
        let first = &gauges[0];
        let gauge = gauges.len() < 2 || !first.is_empty() && gauges.iter().all(|g| g == first);
        let tied = self.tied(parts).filter(|_| parts.len() > 1);
        let least_sure = |tied: &Tied| tied.films.iter().map(|told| told.sd).fold(0.0, f64::max);
        if let Some(tied) = tied.filter(|tied| !gauge || least_sure(tied) < Unit::Common.log_sd()) {
            return Compared {
                unit: Unit::Tinted,
                words: self.tied_words(parts, &tied),
                films: tied
                    .films
                    .iter()
                    .map(|told| (libm::exp(told.log), told.sd))
                    .collect(),
                by_weight: tied.by == Measure::Weight,
            };
        }
        let unit = if gauge { Unit::Common } else { Unit::Unknown };
        Compared {
            unit,
            films: alike(unit),
            words: self.unit_words(parts, unit),
            by_weight: false,
        }
    }

    fn gauge(&self, paint: usize) -> String {
        let gauge = self.tubes[paint]
            .record
            .gauge
            .as_deref()
            .unwrap_or_default();
        gauge.trim().to_lowercase()
    }

    fn unit_words(&self, parts: &[(usize, f64)], unit: Unit) -> String {
        match unit {
            Unit::Weighed | Unit::Tinted => String::new(),
            Unit::Common if parts.len() < 2 => String::new(),
            Unit::Common => format!(
                "All these cards were drawn with one gauge ({}), so their parts compare.",
                self.gauge(parts[0].0)
            ),
            Unit::Unknown => {
                let names = |without: &dyn Fn(usize) -> bool| {
                    let of = parts.iter().filter(|(paint, _)| without(*paint));
                    let of: Vec<&str> = of.map(|(paint, _)| self.tubes[*paint].name()).collect();
                    listed(&of)
                };
                let weighed = |paint: usize| self.tubes[paint].record.film_weight.is_some();
                let tinted = |paint: usize| self.tints_of(paint).next().is_some();
                let any = |is: &dyn Fn(usize) -> bool| parts.iter().any(|(paint, _)| is(*paint));
                let no_gauge = |paint: usize| self.gauge(paint).is_empty();
                // What is begun is named first: it is the shortest way to an end.
                let why = if any(&weighed) {
                    format!("No film of {} was weighed", names(&|paint| !weighed(paint)))
                } else if any(&tinted) {
                    "The tints that are kept do not tie all of these paints to one of them"
                        .to_owned()
                } else if any(&no_gauge) {
                    format!("No gauge is written on {}", names(&no_gauge))
                } else {
                    "These cards were drawn with different gauges".to_owned()
                };
                format!(
                    "{why}: one film may be twice as thick as another, parts are uncertain by a factor of 2, and the range is wider. Draw all of them with one gauge, or weigh a film of each, and write it on their labels; or stir each into the same one in a known ratio and say below how that tint came out."
                )
            }
        }
    }
}

fn gone() -> Error {
    Error::Refused("This tube is no longer kept. Choose another.".to_owned())
}

/// `3`, `1.4`.
fn round(ratio: f64) -> String {
    if ratio < 3.0 {
        format!("{ratio:.1}")
    } else {
        format!("{ratio:.0}")
    }
}
