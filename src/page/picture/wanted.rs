//! A wanted colour, wanted greys, a wanted change: which tube, how thick.

use serde::{Deserialize, Serialize};

use super::{OpenPicture, Tube, view::Spot, words};
use crate::{
    Result,
    colour::{self, Lab},
    film::surface,
    order::sort_by_number,
    page::{Tone, difference_word},
    paint::Constants,
    picture::{
        BEYOND, Film, Ground, MOST_BUILD, depth,
        plan::{Colour, Source},
        wanted,
    },
    spectrum::Bands,
};

/// Tubes that are offered.
const MOST_ROWS: usize = 8;
/// A wanted change is looked for up to this size, in L*, chroma, or along the warm axis: one sees it plainly (ours).
const PLAIN: f64 = 5.0;

/// A film that changes so many times more aside than along the way is no help (ours).
const MOST_ASIDE: f64 = 3.0;

/// Which way a colour is to go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Way {
    /// Towards orange.
    Warmer,
    /// Away from it.
    Cooler,
    /// More L*.
    Lighter,
    /// Less L*.
    Darker,
    /// Less chroma.
    Quieter,
    /// More chroma.
    Richer,
}

impl Way {
    fn along(self, lab: Lab) -> f64 {
        match self {
            Self::Warmer => words::warmth(lab),
            Self::Cooler => -words::warmth(lab),
            Self::Lighter => lab.l,
            Self::Darker => -lab.l,
            Self::Quieter => -words::chroma(lab),
            Self::Richer => words::chroma(lab),
        }
    }
}

/// Tubes that answer, the best first.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WantedView {
    /// What was asked, in a sentence.
    pub asked: String,
    /// The colour it starts from.
    pub from: Option<Tone>,
    /// The colour that is wanted, if one is.
    pub wanted: Option<Tone>,
    /// The best tubes.
    pub rows: Vec<WantedRow>,
    /// How many tubes do not help at all.
    pub no_help: usize,
}

/// One tube.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WantedRow {
    /// Key of the tube.
    pub key: String,
    /// Its name.
    pub name: String,
    /// How thick, in units of the card's own film.
    pub build: f64,
    /// That in coats at glaze depth and in the painter's own, in words; empty for a tube without either.
    pub coats: String,
    /// The chosen colour then.
    pub spot: Spot,
    /// How near it comes, or what changes, in words.
    pub words: String,
    /// What the same film does to every colour.
    pub others: Vec<Tone>,
}

/// Greys to be painted under the films that are there.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GreysView {
    /// One for each wanted colour.
    pub rows: Vec<GreyRow>,
}

/// A grey for one wanted colour.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GreyRow {
    /// What is wanted.
    pub wanted: Tone,
    /// The grey to paint.
    pub grey: Tone,
    /// What is seen over it.
    pub spot: Spot,
    /// Whether that is near enough, in words.
    pub words: String,
    /// Whether it is.
    pub reached: bool,
}

fn reach_words(misses_by: f64, range: f64) -> String {
    if misses_by < 1.0 {
        "meets it".to_owned()
    } else if misses_by <= range {
        format!("{misses_by:.1} off, within its range")
    } else if misses_by <= 3.0 {
        format!("{misses_by:.1} off: you see it side by side")
    } else {
        format!("{misses_by:.1} off: it does not reach it")
    }
}

/// Chained for the search only: what is seen counts as the next ground.
fn wetted(seen: &Bands) -> Bands {
    seen.map(surface::to_internal)
}

impl OpenPicture {
    /// A build in coats: at glaze depth, and as the painter lays them.
    fn coats_words(&self, tube: &Tube, build: f64) -> String {
        let depth = tube
            .depth
            .reached
            .then(|| format!("{:.1} × glaze depth", build / tube.depth.build));
        let own = self.in_my_coats(&tube.key, build);
        depth.into_iter().chain(own).collect::<Vec<_>>().join(", ")
    }

    /// A build of a tube in the painter's own coats, by each way of working that is known.
    pub(super) fn in_my_coats(&self, tube: &str, build: f64) -> Vec<String> {
        let ways = self.coats_by_way(tube).into_iter();
        ways.map(|(way, coat)| {
            let by = match way.trim() {
                "" => String::new(),
                way => format!(" by {way}"),
            };
            format!("{:.1} of my coats{by}", build / coat.build)
        })
        .collect()
    }

    /// Which tubes come nearest to a colour in one film over the chosen bare colour.
    ///
    /// # Errors
    /// Where a film cannot be predicted.
    pub fn wanted(&mut self, lab: [f64; 3]) -> Result<WantedView> {
        self.ground_all();
        self.tell_patches();
        let wanted = checked(lab)?;
        let mut view = WantedView {
            asked: String::new(),
            from: None,
            wanted: Some(wanted.into()),
            rows: Vec::new(),
            no_help: 0,
        };
        let Some((colour, ground)) = self.grounds.get(self.colour) else {
            return Ok(view);
        };
        view.asked = format!("One film over bare {}, nearest first.", colour.name);
        view.from = Some(ground.lab.into());
        let mut found = Vec::new();
        for (_, tube) in self.to_choose() {
            let nearest = wanted::nearest(&tube.constants, reach(tube), ground, wanted)?;
            if nearest.build == 0.0 {
                view.no_help += 1;
            } else {
                found.push((tube, nearest));
            }
        }
        if colour::difference(ground.lab, wanted) < 1.0 {
            view.asked = format!("Bare, {} is that colour already.", colour.name);
        } else if found.is_empty() {
            view.asked = format!("No tube at hand brings {} nearer to it.", colour.name);
        }
        sort_by_number(&mut found, |(_, nearest)| nearest.misses_by);
        let misses =
            |nearest: &wanted::Nearest| nearest.misses_by > nearest.predicted.range.max(3.0);
        if !found.is_empty() && found.iter().all(|(_, nearest)| misses(nearest)) {
            view.asked = format!(
                "No tube at hand reaches it in one film over bare {}; these come nearest.",
                colour.name
            );
        }
        for (tube, nearest) in found.into_iter().take(MOST_ROWS) {
            let depth = depth::Depth {
                build: nearest.build,
                reached: true,
            };
            let grounds: Vec<Ground> = self.grounds.iter().map(|(_, g)| g.clone()).collect();
            let others = depth::over_all(&tube.constants, depth, 1, &grounds)?.remove(0);
            view.rows.push(WantedRow {
                key: tube.key.clone(),
                name: tube.name().to_owned(),
                build: nearest.build,
                coats: self.coats_words(tube, nearest.build),
                words: format!(
                    "{}{}",
                    reach_words(nearest.misses_by, nearest.predicted.range),
                    beyond(tube, nearest.build)
                ),
                spot: nearest.predicted.into(),
                others: others.into_iter().map(|seen| seen.lab.into()).collect(),
            });
        }
        Ok(view)
    }

    /// Which greys to paint under the films that are there, for colours that are wanted.
    ///
    /// # Errors
    /// Where the films cannot be predicted.
    pub fn greys(&mut self, labs: &[[f64; 3]]) -> Result<GreysView> {
        let films: Vec<Film> = self.laid().into_iter().map(|(_, film)| film).collect();
        let paints: Vec<&Constants> = self.tubes.iter().map(|t| &t.constants).collect();
        let sd = self.laid_sd();
        let stack = self.kept.stack(&paints, &films)?.with_build_sd(&sd);
        let rows = labs
            .iter()
            .map(|&lab| {
                let wanted = checked(lab)?;
                let found = wanted::nearest_grey(&stack, wanted);
                let reached = found.misses_by <= found.predicted.range.max(3.0);
                Ok(GreyRow {
                    wanted: wanted.into(),
                    grey: Lab::new(found.lightness, 0.0, 0.0).into(),
                    words: if reached {
                        format!(
                            "Paint L* {:.0}: {}.",
                            found.lightness,
                            reach_words(found.misses_by, found.predicted.range)
                        )
                    } else {
                        format!(
                            "No grey under these films reaches it; L* {:.0} comes nearest, {:.1} off.",
                            found.lightness, found.misses_by
                        )
                    },
                    spot: found.predicted.into(),
                    reached,
                })
            })
            .collect::<Result<_>>()?;
        Ok(GreysView { rows })
    }

    /// Which tubes make the chosen colour go a way, in one more film on top, with the least other change.
    ///
    /// # Errors
    /// Where a film cannot be predicted.
    pub fn wanted_change(&mut self, way: Way) -> Result<WantedView> {
        self.ground_all();
        self.tell_patches();
        let mut view = WantedView {
            asked: String::new(),
            from: None,
            wanted: None,
            rows: Vec::new(),
            no_help: 0,
        };
        let Some((colour, ground)) = self.grounds.get(self.colour) else {
            return Ok(view);
        };
        let films: Vec<Film> = self.laid().into_iter().map(|(_, film)| film).collect();
        let sd = self.laid_sd();
        let paints: Vec<&Constants> = self.tubes.iter().map(|t| &t.constants).collect();
        let now = self.kept.responses(&paints, &films)?;
        let (start, below) = if films.is_empty() {
            (ground.lab, ground.clone())
        } else {
            let mut below = ground.clone();
            below.lab = now.lab_over(ground);
            below.internal = wetted(&now.seen_over(ground));
            (below.lab, below)
        };
        view.asked = format!(
            "One more film on top makes {} {}, with the least other change first.",
            colour.name,
            format!("{way:?}").to_lowercase()
        );
        view.from = Some(start.into());
        // Far enough along the way, then as little else as possible.
        let mut found: Vec<(usize, f64, bool, f64)> = Vec::new();
        for (paint, tube) in self.to_choose() {
            match film_along(&tube.constants, reach(tube), &below, start, way) {
                Some((build, reached, aside)) => found.push((paint, build, reached, aside)),
                None => view.no_help += 1,
            }
        }
        if found.is_empty() {
            view.asked = format!(
                "No tube at hand makes {} {} without changing more than that.",
                colour.name,
                format!("{way:?}").to_lowercase()
            );
        }
        // Those that reach it first, and among them those that turn least aside.
        sort_by_number(&mut found, |(.., aside)| *aside);
        sort_by_number(&mut found, |(_, _, reached, _)| {
            f64::from(u8::from(!reached))
        });
        for (paint, build, _, _) in found.into_iter().take(MOST_ROWS) {
            let all: Vec<Film> = films
                .iter()
                .copied()
                .chain([Film { paint, build }])
                .collect();
            // The film on top is planned; those below may be the painter's coats.
            let stack = self.kept.stack(&paints, &all)?.with_build_sd(&sd);
            let seen = stack.over(ground);
            view.rows.push(WantedRow {
                key: self.tubes[paint].key.clone(),
                name: self.tubes[paint].name().to_owned(),
                build,
                coats: self.coats_words(&self.tubes[paint], build),
                words: format!(
                    "{}: {}{}",
                    along_words(way, start, seen.lab),
                    difference_word(colour::difference(start, seen.lab)),
                    beyond(&self.tubes[paint], build)
                ),
                spot: seen.into(),
                others: self
                    .grounds
                    .iter()
                    .map(|(_, ground)| stack.lab_over(ground).into())
                    .collect(),
            });
        }
        Ok(view)
    }
}

/// What a film does that was looked for because it goes a way: that first, as far as the change as a whole does not say it.
fn along_words(way: Way, before: Lab, after: Lab) -> String {
    let change = words::change(before, after);
    let wanted = format!("{way:?}").to_lowercase();
    let by = way.along(after) - way.along(before);
    if change.contains(&wanted) || by < 1.0 {
        change
    } else {
        format!("{wanted} by {by:.0}, and {change}")
    }
}

/// What to say of a film that is beyond those of its tube's card.
fn beyond(tube: &Tube, build: f64) -> &'static str {
    let record = &tube.record;
    let builds = record.films.iter().map(|film| film.build);
    let thinnest = builds.fold(f64::INFINITY, f64::min);
    if build > BEYOND * record.thickest() {
        "; thicker than any film on its card, so a guess"
    } else if build < thinnest / BEYOND {
        "; thinner than any film on its card"
    } else {
        ""
    }
}

/// Thickest film of a tube that is offered: well beyond its card it is a guess.
fn reach(tube: &Tube) -> f64 {
    (3.0 * tube.record.thickest())
        .max(1.5 * tube.depth.build)
        .min(MOST_BUILD)
}

/// The thinnest film that goes far enough along a way, or else the one that goes farthest: its build, whether it goes far
/// enough, and how much else changes. `None` where it hardly goes along at all.
fn film_along(
    paint: &Constants,
    most: f64,
    below: &Ground,
    start: Lab,
    way: Way,
) -> Option<(f64, bool, f64)> {
    const STEPS: usize = 24;
    let along = |lab: Lab| way.along(lab) - way.along(start);
    let at = |i: usize| most * libm::pow(200.0, i as f64 / STEPS as f64 - 1.0);
    let seen: Vec<(f64, Lab)> = (0..=STEPS)
        .map(|i| (at(i), wanted::film_lab(paint, at(i), below)))
        .collect();
    let enough = seen.iter().find(|(_, lab)| along(*lab) >= PLAIN);
    let best = enough.or_else(|| seen.iter().max_by(|a, b| along(a.1).total_cmp(&along(b.1))))?;
    let by = along(best.1);
    if by < 1.0 {
        return None;
    }
    let whole = libm::sqrt(
        (best.1.l - start.l).powi(2) + (best.1.a - start.a).powi(2) + (best.1.b - start.b).powi(2),
    );
    let aside = libm::sqrt((whole * whole - by * by).max(0.0));
    // A green is no way to make a grey warmer, though it lies a little nearer to orange.
    if aside > MOST_ASIDE * by {
        return None;
    }
    Some((best.0, enough.is_some(), aside))
}

pub(super) fn checked(lab: [f64; 3]) -> Result<Lab> {
    let colour = Colour {
        name: String::new(),
        ..super::colours::plain("", lab, Source::Typed)
    };
    crate::picture::plan::Plan::new("", vec![colour]).check()?;
    let [l, a, b] = lab;
    Ok(Lab::new(l, a, b))
}
