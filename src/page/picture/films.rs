//! The cross-section: each film, what it does over the chosen colour, and what a change of order would do.

use std::sync::LazyLock;

use serde::Serialize;

use super::{OpenPicture, patches::CoatView, words};
use crate::{
    Result,
    colour::{self, Lab},
    page::{Tone, difference_word},
    paint::{Constants, verdict},
    picture::{
        Film, Ground,
        medium::{MEDIA, Medium},
        plan::{PlannedFilm, Thinning},
    },
};

/// One film of the cross-section.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FilmView {
    /// Key of its tube.
    pub tube: String,
    /// Its name.
    pub name: String,
    /// One coat, in units of the card's own film.
    pub build: f64,
    /// How many coats.
    pub coats: u32,
    /// Its recipe.
    pub thinning: Thinning,
    /// Which usual medium it began as.
    pub medium: Option<usize>,
    /// The recipe in words.
    pub recipe: String,
    /// The recipe's effect in words; empty without one.
    pub thinning_words: String,
    /// Whether its tube is not at hand.
    pub missing: bool,
    /// The film over white, for the cross-section.
    pub tone: Option<Tone>,
    /// `glaze`, `veil` or `covering` over the chosen colour as the films below leave it.
    pub verdict: &'static str,
    /// Why.
    pub reason: String,
    /// Least and most build that it can be pulled to.
    pub pull: [f64; 2],
    /// Builds of the card's films.
    pub marks: Vec<f64>,
    /// Way of working whose coats it is counted in, if it is.
    pub way: Option<String>,
    /// The painter's coats of its tube that are known.
    pub ways: Vec<CoatView>,
    /// One coat in those, where it is counted in films of its card.
    pub own: Vec<String>,
}

/// What a change of order does.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OrderView {
    /// Name of the film that would come to lie over the other.
    pub over: String,
    /// The other's name.
    pub under: String,
    /// Colours with the order changed.
    pub tones: Vec<Tone>,
    /// The change in a sentence.
    pub sentence: String,
}

/// Coats of the chosen film: what is seen with none, one, two ...
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CoatsView {
    /// Name of the film.
    pub name: String,
    /// A row for every number of coats, from none.
    pub rows: Vec<CoatsRow>,
    /// When the drawing is lost, in words.
    pub sentence: String,
}

/// One number of coats.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CoatsRow {
    /// How many.
    pub coats: u32,
    /// What is seen over every colour.
    pub tones: Vec<Tone>,
    /// L* between the lightest and the darkest.
    pub span: f64,
}

/// Coats that are shown as steps.
const STEPS: u32 = 8;

impl OpenPicture {
    /// The cross-section, lowest film first.
    pub(super) fn film_views(&mut self) -> Result<Vec<FilmView>> {
        let laid = self.laid();
        static WHITE: LazyLock<Ground> = LazyLock::new(|| Ground::of(Lab::new(93.0, 0.0, 0.0)));
        let mut views = Vec::with_capacity(self.plan.films.len());
        for (at, film) in self.plan.films.iter().enumerate() {
            let tube = self.tubes.iter().find(|tube| tube.key == film.tube);
            let paints: Vec<&Constants> = self.tubes.iter().map(|t| &t.constants).collect();
            let mut view = FilmView {
                tube: film.tube.clone(),
                name: tube
                    .map_or(film.name.as_str(), |tube| tube.name())
                    .to_owned(),
                build: film.build,
                coats: film.coats,
                thinning: film.thinning.clone(),
                medium: Medium::place(&film.medium),
                recipe: recipe(film),
                thinning_words: thinning_words(&film.thinning),
                missing: tube.is_none(),
                tone: None,
                verdict: "",
                reason: String::new(),
                pull: [0.05, 4.0],
                marks: Vec::new(),
                way: film.way.clone(),
                ways: self.my_coats(&film.tube),
                own: match film.way {
                    None => self.in_my_coats(&film.tube, film.build),
                    Some(_) => Vec::new(),
                },
            };
            if let Some(tube) = tube {
                view.marks = tube.marks();
                view.pull = tube.pull(film.build);
            }
            // Only a film that is there does anything.
            if let Some(place) = laid.iter().position(|(i, _)| *i == at) {
                let films: Vec<Film> = laid.iter().map(|(_, film)| *film).collect();
                let alone = self.kept.responses(&paints, &films[place..=place])?;
                view.tone = Some(alone.lab_over(&WHITE).into());
                if let Some((_, ground)) = self.grounds.get(self.colour) {
                    let before = match place {
                        0 => ground.lab,
                        _ => self
                            .kept
                            .responses(&paints, &films[..place])?
                            .lab_over(ground),
                    };
                    let after = self
                        .kept
                        .responses(&paints, &films[..=place])?
                        .lab_over(ground);
                    let left = alone.range_left();
                    let here = verdict::here(before, after, left);
                    view.verdict = here.word_for(after.l - before.l);
                    let share = left / verdict::nominal_span();
                    // One film's own part has no range of its own.
                    view.reason = words::reason(here, before, after, 0.0, left, share);
                }
            }
            views.push(view);
        }
        Ok(views)
    }

    /// What is seen with none to eight coats of the chosen film, the others as they are.
    pub(super) fn coats_view(&mut self) -> Result<Option<CoatsView>> {
        let Some(film) = self.chosen_film() else {
            return Ok(None);
        };
        let Some(paint) = self.tubes.iter().position(|tube| tube.key == film.tube) else {
            return Ok(None);
        };
        let name = self.tubes[paint].name().to_owned();
        let (coat, now) = (film.one_coat(), film.coats as usize);
        let paints: Vec<&Constants> = self.tubes.iter().map(|t| &t.constants).collect();
        let laid = self.laid();
        let under: Vec<Film> = laid
            .iter()
            .filter(|(i, _)| *i < self.film)
            .map(|l| l.1)
            .collect();
        let over: Vec<Film> = laid
            .iter()
            .filter(|(i, _)| *i > self.film)
            .map(|l| l.1)
            .collect();
        let most = (1..=STEPS)
            .take_while(|&coats| coat * f64::from(coats) <= crate::picture::MOST_BUILD)
            .count() as u32;
        let one = Film { paint, build: coat };
        let mut all = self.kept.coats(&paints, &under, (one, most), &over)?;
        // As many as there are stand as they are seen, to the last digit.
        if let Some(row) = all.get_mut(now) {
            let films: Vec<Film> = laid.iter().map(|(_, film)| *film).collect();
            *row = self.kept.responses(&paints, &films)?;
        }
        let nothing_else = under.is_empty() && over.is_empty();
        let mut rows = Vec::new();
        for (coats, responses) in (0..=most).zip(all) {
            let bare = nothing_else && (coats == 0 || coat == 0.0);
            let seen: Vec<Lab> = self
                .grounds
                .iter()
                .map(|(_, ground)| {
                    if bare {
                        ground.lab
                    } else {
                        responses.lab_over(ground)
                    }
                })
                .collect();
            rows.push(CoatsRow {
                coats,
                span: crate::page::glaze::span(seen.iter().map(|lab| lab.l)),
                tones: seen.into_iter().map(Tone::from).collect(),
            });
        }
        let spans: Vec<f64> = rows.iter().map(|row| row.span).collect();
        let sentence = if self.plan.colours.len() < 2 {
            String::new()
        } else {
            let bare = self.grounds.iter().map(|(_, ground)| ground.lab.l);
            words::fading(crate::page::glaze::span(bare), &spans)
        };
        Ok(Some(CoatsView {
            name,
            rows,
            sentence,
        }))
    }

    /// The chosen film exchanged with the one over it, or under it where it is the topmost.
    pub(super) fn order_view(&mut self, now: &[Lab]) -> Result<Option<OrderView>> {
        let laid = self.laid();
        let Some(place) = laid.iter().position(|(i, _)| *i == self.film) else {
            return Ok(None);
        };
        if laid.len() < 2 {
            return Ok(None);
        }
        let lower = place.min(laid.len() - 2);
        let mut films: Vec<Film> = laid.iter().map(|(_, film)| *film).collect();
        films.swap(lower, lower + 1);
        if films[lower].paint == films[lower + 1].paint {
            return Ok(None);
        }
        let paints: Vec<&Constants> = self.tubes.iter().map(|t| &t.constants).collect();
        let responses = self.kept.responses(&paints, &films)?;
        let swapped: Vec<Lab> = self
            .grounds
            .iter()
            .map(|(_, ground)| responses.lab_over(ground))
            .collect();
        let name = |film: &Film| self.tubes[film.paint].name().to_owned();
        let (over, under) = (name(&films[lower + 1]), name(&films[lower]));
        let most = now
            .iter()
            .zip(&swapped)
            .map(|(a, b)| colour::difference(*a, *b))
            .enumerate()
            .max_by(|a, b| a.1.total_cmp(&b.1));
        let sentence = match most {
            Some((at, by)) if by >= 1.0 => format!(
                "{over} over {under} instead: {} on {}, {}.",
                words::change(now[at], swapped[at]),
                self.plan.colours[at].name,
                match difference_word(by) {
                    "seen side by side" => "you would see it side by side",
                    _ => "you would see it plainly",
                }
            ),
            Some(_) => {
                format!("{over} over {under} instead: you would hardly see a difference.")
            }
            None => String::new(),
        };
        Ok(Some(OrderView {
            over,
            under,
            tones: swapped.into_iter().map(Tone::from).collect(),
            sentence,
        }))
    }
}

/// What is stirred together: for the one who stands at the easel.
fn recipe(film: &PlannedFilm) -> String {
    let Thinning {
        paint,
        stays,
        evaporates,
    } = film.thinning;
    if film.thinning.is_none() {
        return "Thinned: not at all".to_owned();
    }
    let parts = |of: f64| (100.0 * of).round() / 100.0;
    let Some(at) = Medium::place(&film.medium) else {
        return format!(
            "Thinned: paint {}, medium that stays {}, what evaporates {}",
            parts(paint),
            parts(stays),
            parts(evaporates)
        );
    };
    let least = paint.min(stays + evaporates);
    // The medium's own parts may be others than the usual ones.
    let usual = MEDIA[at].begin();
    let own = (stays * usual.evaporates - evaporates * usual.stays).abs() > 1e-6 * usual.paint;
    format!(
        "Thinned: paint {} to medium {} ({}{})",
        parts(paint / least),
        parts((stays + evaporates) / least),
        MEDIA[at].words,
        if own { ", in parts of your own" } else { "" }
    )
}

fn thinning_words(thinning: &Thinning) -> String {
    if thinning.is_none() {
        return String::new();
    }
    let share = |value: f64| format!("{:.0} %", 100.0 * value);
    let paint = format!(
        "Brushed out as thick, it leaves {} of the paint",
        share(thinning.share())
    );
    if thinning.evaporates > 0.0 {
        format!(
            "{paint}, and dries to {} of the thickness.",
            share(thinning.left_when_dry())
        )
    } else {
        format!("{paint}.")
    }
}
