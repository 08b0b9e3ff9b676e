//! Scraps that were really painted beside what was predicted, and what they tell of the painter's coats. Nothing of it
//! touches the card's own reading.

use nalgebra::Matrix3;
use serde::Serialize;

use super::{OpenPicture, view::Spot};
use crate::{
    Result,
    colour::{self, Lab},
    fit::uncertainty,
    page::Tone,
    paint::Constants,
    picture::{
        Film, Ground,
        painted::{self, Learned, ONE_COAT_SD, Painted},
        plan::{Patch, PlannedFilm},
        wanted,
    },
    spectrum::BANDS,
};

/// All patches of a picture.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PatchesView {
    /// One row each.
    pub rows: Vec<PatchView>,
    /// Whether predictions run light or dark, in a sentence; empty while too few tell.
    pub sentence: String,
    /// The painter's coat of each tube that has patches of its own.
    pub coats: Vec<CoatView>,
    /// Scatter of the tubes whose patches tell it.
    pub scatters: Vec<ScatterView>,
}

/// Scatter of one tube as patches show it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ScatterView {
    /// Key of the tube.
    pub tube: String,
    /// What is known of it, in a sentence.
    pub words: String,
    /// Whether it is corrected in this picture.
    pub corrected: bool,
}

/// One patch.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PatchView {
    /// What was painted over what.
    pub name: String,
    /// The colour below.
    pub before: Tone,
    /// What was predicted; absent where a tube is not at hand any more.
    pub predicted: Option<Spot>,
    /// How it came out.
    pub painted: Tone,
    /// The difference against the range, in words.
    pub words: String,
}

/// The painter's coat of one tube.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CoatView {
    /// Key of the tube.
    pub tube: String,
    /// What is known of the coat, in a sentence.
    pub words: String,
}

/// A coat as patches show it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct MyCoat {
    /// In units of the card's own film, as brushed out.
    pub(super) build: f64,
    /// Standard deviation of its logarithm, from coat to coat.
    pub(super) log_sd: f64,
    /// Patches that tell.
    pub(super) patches: usize,
}

/// Patches tell a tube's scatter where the standard deviation of its logarithm is below this (ours).
const TELLS_SCATTER: f64 = 0.25;
/// Standard deviations within which nine in ten lie (normal distribution).
const NINE_IN_TEN: f64 = 1.645;
/// A patch that no build of its tube brings nearer than this tells nothing of the coat.
const TELLS_NOTHING: f64 = 8.0;

impl OpenPicture {
    fn patch_ground(patch: &Patch) -> Ground {
        Ground::measured(&patch.over.measured(&mut [0.0; BANDS]))
    }

    fn films_of(&self, planned: &[PlannedFilm]) -> Option<Vec<Film>> {
        planned
            .iter()
            .map(|film| {
                let paint = self.tubes.iter().position(|t| t.key == film.tube)?;
                let build = film.whole_build();
                Some(Film { paint, build })
            })
            .collect()
    }

    /// The painter's coat of a tube, from patches of it alone.
    pub(super) fn my_coat(&self, tube: &str) -> Result<Option<MyCoat>> {
        let mut logs = Vec::new();
        let Some(known) = self.tube(tube) else {
            return Ok(None);
        };
        for patch in &self.plan.patches {
            let [film] = patch.films.as_slice() else {
                continue;
            };
            if film.tube != tube || film.coats == 0 {
                continue;
            }
            let [l, a, b] = patch.painted.lab;
            let most = 4.0 * known.record.thickest().max(film.whole_build());
            let ground = Self::patch_ground(patch);
            let nearest = wanted::nearest(&known.constants, most, &ground, Lab::new(l, a, b))?;
            if nearest.build > 0.0 && nearest.misses_by < TELLS_NOTHING {
                let coat = nearest.build / (f64::from(film.coats) * film.thinning.share());
                logs.push(libm::log(coat));
            }
        }
        if logs.is_empty() {
            return Ok(None);
        }
        let count = logs.len() as f64;
        let mean = logs.iter().sum::<f64>() / count;
        let spread = logs
            .iter()
            .map(|log| (log - mean) * (log - mean))
            .sum::<f64>();
        // With few patches the usual spread counts as one more.
        let log_sd = libm::sqrt((spread + ONE_COAT_SD * ONE_COAT_SD) / count);
        Ok(Some(MyCoat {
            build: libm::exp(mean),
            log_sd,
            patches: logs.len(),
        }))
    }

    /// What patches of a tube alone say of it, measured by its card's own reading.
    pub(super) fn learned(&self, tube: &str) -> Option<Learned> {
        let known = self.tube(tube)?;
        let mut planned = Vec::new();
        let mut painted = Vec::new();
        for patch in &self.plan.patches {
            let [film] = patch.films.as_slice() else {
                continue;
            };
            if film.tube != tube || film.coats == 0 || film.build == 0.0 {
                continue;
            }
            let [l, a, b] = patch.painted.lab;
            planned.push(libm::log(film.build));
            painted.push(Painted {
                ground: Self::patch_ground(patch),
                lab: Lab::new(l, a, b),
                spread: Matrix3::from_diagonal(&patch.painted.lab_sd.map(|sd| sd * sd).into()),
                coats: f64::from(film.coats) * film.thinning.share(),
            });
        }
        let usual = planned.iter().sum::<f64>() / planned.len().max(1) as f64;
        painted::learn(&known.on_card, libm::exp(usual), &painted)
    }

    /// Only where patches tell the scatter, and where it is not as on the card or was corrected.
    fn scatter_view(&self, film: &PlannedFilm) -> Option<ScatterView> {
        let corrected = self.plan.corrections.iter().find(|c| c.tube == film.tube);
        let name = &film.name;
        if let Some(now) = corrected {
            let words = format!(
                "In this picture {name} scatters {:.1} times as much as on its card.",
                now.scatter
            );
            return Some(ScatterView {
                tube: film.tube.clone(),
                words,
                corrected: true,
            });
        }
        let learned = self.learned(&film.tube)?;
        let (log, sd) = (libm::log(learned.scatter), learned.scatter_log_sd);
        if sd > TELLS_SCATTER || log.abs() < NINE_IN_TEN * sd {
            return None;
        }
        let ends = [log - NINE_IN_TEN * sd, log + NINE_IN_TEN * sd].map(libm::exp);
        Some(ScatterView {
            tube: film.tube.clone(),
            words: format!(
                "As painted, {name} scatters {:.1} times as much as its card says ({:.1} to {:.1}).",
                learned.scatter, ends[0], ends[1]
            ),
            corrected: false,
        })
    }

    pub(super) fn patches_view(&mut self) -> Result<PatchesView> {
        let paints: Vec<&Constants> = self.tubes.iter().map(|t| &t.constants).collect();
        let mut view = PatchesView::default();
        let mut lighter = Vec::new();
        for patch in &self.plan.patches {
            let [l, a, b] = patch.painted.lab;
            let painted = Lab::new(l, a, b);
            let [l, a, b] = patch.over.lab;
            let mut row = PatchView {
                name: patch_name(patch),
                before: Lab::new(l, a, b).into(),
                predicted: None,
                painted: painted.into(),
                words: "A tube of it is not at hand.".to_owned(),
            };
            if let Some(films) = self.films_of(&patch.films) {
                let predicted = self
                    .kept
                    .stack(&paints, &films)?
                    .over(&Self::patch_ground(patch));
                let own = Matrix3::from_diagonal(&patch.painted.lab_sd.map(|sd| sd * sd).into());
                let measured = uncertainty::range(painted, &own);
                let range = libm::hypot(predicted.range, measured);
                let off = colour::difference(predicted.lab, painted);
                row.words = if off <= range {
                    format!("{off:.1} apart, within the range of {range:.1}.")
                } else {
                    format!("{off:.1} apart, outside the range of {range:.1}.")
                };
                row.predicted = Some(predicted.into());
                lighter.push(predicted.lab.l - painted.l);
            }
            view.rows.push(row);
        }
        if lighter.len() >= 2 {
            let mean = lighter.iter().sum::<f64>() / lighter.len() as f64;
            view.sentence = match mean {
                m if m > 1.0 => format!(
                    "Over {} patches, predictions run light: by {m:.0} L* on average.",
                    lighter.len()
                ),
                m if m < -1.0 => format!(
                    "Over {} patches, predictions run dark: by {:.0} L* on average.",
                    lighter.len(),
                    -m
                ),
                _ => format!(
                    "Over {} patches, predictions run neither light nor dark.",
                    lighter.len()
                ),
            };
        }
        let mut seen: Vec<&str> = Vec::new();
        for patch in &self.plan.patches {
            let [film] = patch.films.as_slice() else {
                continue;
            };
            if seen.contains(&film.tube.as_str()) {
                continue;
            }
            seen.push(&film.tube);
            view.scatters.extend(self.scatter_view(film));
            if let Some(coat) = self.my_coat(&film.tube)? {
                view.coats.push(CoatView {
                    tube: film.tube.clone(),
                    words: format!(
                        "My coat of {}: {:.2} × the card’s film, give or take {:.0} %, from {}.",
                        film.name,
                        coat.build,
                        100.0 * (libm::exp(1.645 * coat.log_sd) - 1.0),
                        if coat.patches == 1 {
                            "one patch".to_owned()
                        } else {
                            format!("{} patches", coat.patches)
                        }
                    ),
                });
            }
        }
        Ok(view)
    }
}

/// `2 coats of rose, 1 coat of blue over grey 3`.
fn patch_name(patch: &Patch) -> String {
    let films: Vec<String> = patch
        .films
        .iter()
        .rev()
        .map(|film| match film.coats {
            1 => format!("1 coat of {}", film.name),
            n => format!("{n} coats of {}", film.name),
        })
        .collect();
    format!("{} over {}", films.join(" over "), patch.over.name)
}
