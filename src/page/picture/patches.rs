//! Scraps that were really painted beside what was predicted, and what they tell of the painter's coats. Nothing of it
//! touches the card's own reading.

use nalgebra::Matrix3;
use serde::Serialize;

use super::{OpenPicture, view::Spot};
use crate::{
    Error, Result,
    colour::{self, Lab},
    fit::uncertainty,
    page::Tone,
    paint::{
        Constants,
        file::{MOST_ENTRIES, Scrap, ScrapColour, Surface},
    },
    picture::{
        Film, Ground,
        coat::{self, Coat, Told},
        ground::without_surface,
        painted::{self, Learned, Painted},
        plan::{Colour, Patch, PlannedFilm},
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

/// The painter's coat of one tube by one way of working.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CoatView {
    /// Key of the tube.
    pub tube: String,
    /// Way of working, as typed.
    pub way: String,
    /// What is known of the coat.
    pub words: String,
    /// Patches of this picture that are not kept with the tube.
    pub to_keep: usize,
}

/// Patches tell a tube's scatter where the standard deviation of its logarithm is below this (ours).
const TELLS_SCATTER: f64 = 0.25;
/// Standard deviations within which nine in ten lie (normal distribution).
const NINE_IN_TEN: f64 = 1.645;

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

    /// A patch as a scrap to be kept with its tube; nothing where several films lie on it.
    fn scrap_of(&self, patch: &Patch) -> Option<Scrap> {
        let [film] = patch.films.as_slice() else {
            return None;
        };
        let colour = |colour: &Colour| ScrapColour {
            lab: colour.lab,
            lab_sd: colour.lab_sd,
            surface: colour.surface,
        };
        (film.coats > 0).then(|| Scrap {
            way: patch.way.clone(),
            coats: f64::from(film.coats) * film.thinning.share(),
            film: None,
            over: Some(colour(&patch.over)),
            painted: Some(colour(&patch.painted)),
            from: format!("{}: {}", self.plan.name, patch_name(patch)),
        })
    }

    /// Brings what patches tell of coats up to date.
    pub(super) fn tell_patches(&mut self) {
        let mut old = std::mem::take(&mut self.told);
        for patch in &self.plan.patches {
            if let Some(at) = old.iter().position(|(of, _)| of == patch) {
                self.told.push(old.swap_remove(at));
                continue;
            }
            let known = patch.films.first().and_then(|film| self.tube(&film.tube));
            let told = match (known, self.scrap_of(patch)) {
                (Some(tube), Some(scrap)) => {
                    let (lab, spread) = painted_glossy(patch);
                    let most = 4.0 * tube.record.thickest().max(patch.films[0].whole_build());
                    let ground = Self::patch_ground(patch);
                    coat::told(&tube.constants, most, &ground, (lab, &spread), scrap.coats)
                }
                _ => None,
            };
            self.told.push((patch.clone(), told));
        }
    }

    /// Scraps of a tube: those kept with it, and patches of this picture that are not among them. Way of working, what each
    /// tells, and whether it is kept.
    fn scraps<'a>(&'a self, tube: &'a str) -> Vec<(&'a str, Told, bool)> {
        let Some(known) = self.tube(tube) else {
            return Vec::new();
        };
        // Scraps of another reading count films of another card.
        let kept = known.readings.iter().flat_map(|&j| {
            let of = &self.tubes[j];
            let by = libm::log(of.constants.absorption[0] / known.constants.absorption[0]);
            let all = of.record.coats.iter().zip(&of.told);
            all.filter_map(move |(scrap, told)| {
                let told = (*told)?;
                let log = told.log + by;
                Some((scrap.way.as_str(), Told { log, ..told }, true))
            })
        });
        let here = self.told.iter().filter_map(|(patch, told)| {
            let scrap = self.scrap_of(patch)?;
            let has = |&j: &usize| self.tubes[j].has(&scrap);
            let of_it = patch.films[0].tube == tube && !known.readings.iter().any(has);
            of_it.then_some((patch.way.as_str(), (*told)?, false))
        });
        kept.chain(here).collect()
    }

    /// The painter's coat of a tube by one way of working.
    pub(super) fn my_coat(&self, tube: &str, way: &str) -> Option<Coat> {
        let told: Vec<Told> = self
            .scraps(tube)
            .into_iter()
            .filter_map(|(of, told, _)| coat::same_way(of, way).then_some(told))
            .collect();
        coat::together(&told)
    }

    /// Ways of working that scraps of a tube show, as first typed, with the coat by each.
    pub(super) fn coats_by_way<'a>(&'a self, tube: &'a str) -> Vec<(&'a str, Coat)> {
        let mut ways: Vec<(&str, Vec<Told>)> = Vec::new();
        for (way, told, _) in self.scraps(tube) {
            match ways.iter_mut().find(|(of, _)| coat::same_way(of, way)) {
                Some((_, all)) => all.push(told),
                None => ways.push((way, vec![told])),
            }
        }
        ways.into_iter()
            .filter_map(|(way, told)| Some((way, coat::together(&told)?)))
            .collect()
    }

    /// All coats of a tube that are known.
    pub(super) fn my_coats(&self, tube: &str) -> Vec<CoatView> {
        let scraps = self.scraps(tube);
        let to_keep = |way: &str| {
            let of = scraps.iter().filter(|(of, ..)| coat::same_way(of, way));
            of.filter(|(.., kept)| !kept).count()
        };
        self.coats_by_way(tube)
            .into_iter()
            .map(|(way, coat)| CoatView {
                tube: tube.to_owned(),
                way: way.to_owned(),
                words: coat.words(),
                to_keep: to_keep(way),
            })
            .collect()
    }

    /// The pigment file of a tube with this picture's patches of it, made one way, kept as scraps.
    ///
    /// # Errors
    /// [`crate::Error::Refused`] where there is none to keep, or too many are kept.
    pub fn with_scraps(&self, tube: &str, way: &str) -> Result<String> {
        let known = self.known_tube(tube)?;
        let mut record = known.record.clone();
        for patch in &self.plan.patches {
            let Some(scrap) = self.scrap_of(patch) else {
                continue;
            };
            let of_it = patch.films[0].tube == tube && coat::same_way(&patch.way, way);
            let has = |&j: &usize| self.tubes[j].has(&scrap);
            if of_it && !known.readings.iter().any(has) {
                record.coats.push(scrap);
            }
        }
        if record.coats.len() == known.record.coats.len() {
            return Err(Error::Refused(
                "These scraps are kept with the tube already.".to_owned(),
            ));
        }
        if record.coats.len() > MOST_ENTRIES {
            return Err(Error::Refused(format!(
                "More than {MOST_ENTRIES} scraps of one tube cannot be kept. Take old ones away on the tube’s own page first."
            )));
        }
        Ok(record.write())
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
            let (lab, spread) = painted_glossy(patch);
            planned.push(libm::log(film.build));
            painted.push(Painted {
                ground: Self::patch_ground(patch),
                lab,
                spread,
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
        for (patch, (_, told)) in self.plan.patches.iter().zip(&self.told) {
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
                // Films of no build are no films; the painter's own coats have a spread.
                let there = patch.films.iter().filter(|film| film.whole_build() > 0.0);
                let sd: Vec<f64> = there.map(|film| film.build_log_sd).collect();
                let predicted = self
                    .kept
                    .stack(&paints, &films)?
                    .with_build_sd(&sd)
                    .over(&Self::patch_ground(patch));
                let (glossy, own) = painted_glossy(patch);
                let measured = uncertainty::range(glossy, &own);
                let range = libm::hypot(predicted.range, measured);
                let off = colour::difference(predicted.lab, glossy);
                let where_ = if off <= range { "within" } else { "outside" };
                let dull = match patch.painted.surface {
                    Surface::Glossy => "",
                    _ => " once its dull surface is taken off",
                };
                row.words = format!("{off:.1} apart{dull}, {where_} the range of {range:.1}.");
                if told.is_none() && patch.films.len() == 1 {
                    row.words += " Too far off or too unsure to tell your coat.";
                }
                row.predicted = Some(predicted.into());
                lighter.push(predicted.lab.l - glossy.l);
            }
            view.rows.push(row);
        }
        if lighter.len() >= 2 {
            let mean = lighter.iter().sum::<f64>() / lighter.len() as f64;
            let most = lighter.iter().fold(f64::NEG_INFINITY, |a, b| a.max(*b));
            let least = lighter.iter().fold(f64::INFINITY, |a, b| a.min(*b));
            view.sentence = match mean {
                // A mean of both would hide both.
                _ if most > 3.0 && least < -3.0 => format!(
                    "Over {} patches, predictions run both ways: up to {most:.0} L* too light and {:.0} L* too dark. No coat mends both; look at each patch.",
                    lighter.len(),
                    -least
                ),
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
            view.coats.extend(self.my_coats(&film.tube));
        }
        Ok(view)
    }
}

/// How a patch came out, without what its dull surface adds: films are predicted glossy.
fn painted_glossy(patch: &Patch) -> (Lab, Matrix3<f64>) {
    let Colour {
        lab: [l, a, b],
        lab_sd,
        surface,
        ..
    } = &patch.painted;
    let spread = Matrix3::from_diagonal(&lab_sd.map(|sd| sd * sd).into());
    without_surface(Lab::new(*l, *a, *b), &spread, *surface)
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
