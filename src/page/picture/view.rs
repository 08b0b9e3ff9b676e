//! What the page shows of the open picture.

use nalgebra::Matrix3;
use serde::Serialize;

use super::{
    OpenPicture, colours,
    films::{CoatsView, FilmView, OrderView},
    patches::PatchesView,
    words,
};
use crate::{
    Result,
    colour::{self, Lab},
    fit::uncertainty,
    page::{
        Tone, difference_word,
        glaze::{RESTS_ON, at_most_word, span, span_words, verdict_words},
    },
    paint::{
        Constants,
        file::Surface,
        verdict::{self, Here},
    },
    picture::{self, Film, Ground, Predicted, medium::MEDIA, plan::Colour},
};

/// Most that a film can be pulled to, so that eight coats of it can still be predicted.
pub(super) const MOST_PULL: f64 = picture::MOST_BUILD / 8.0;

/// The open picture.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PictureView {
    /// Its name.
    pub name: String,
    /// Its notes.
    pub notes: String,
    /// Underpainting colours, before any film.
    pub colours: Vec<ColourView>,
    /// The cross-section, lowest film first.
    pub films: Vec<FilmView>,
    /// What is seen over every colour.
    pub seen: Vec<Spot>,
    /// Place of the chosen film, if there is any film.
    pub film: Option<usize>,
    /// Place of the chosen colour, if there is any.
    pub colour: Option<usize>,
    /// The chosen colour before and after.
    pub detail: Option<Detail>,
    /// Coats of the chosen film.
    pub coats: Option<CoatsView>,
    /// The chosen film and its neighbour exchanged.
    pub order: Option<OrderView>,
    /// What all films together do.
    pub headline: String,
    /// The same in a sentence.
    pub sentence: String,
    /// Lights and darks before and after.
    pub span: String,
    /// The widest range, and what it rests on.
    pub range_words: String,
    /// What else to know.
    pub cautions: Vec<String>,
    /// Scraps that were really painted.
    pub patches: PatchesView,
    /// Keys of the tubes to choose from: of several readings of one, that which stands for all.
    pub to_choose: Vec<String>,
    /// How well a colour may be known: words, and standard deviations of L*, a*, b*.
    pub known: [(&'static str, [f64; 3]); 3],
    /// Usual mediums.
    pub media: [&'static str; MEDIA.len()],
    /// Whether there is a step to take back.
    pub undo: bool,
    /// Whether there is one to take again.
    pub redo: bool,
}

/// One underpainting colour.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ColourView {
    /// Its name.
    pub name: String,
    /// The colour.
    #[serde(flatten)]
    pub tone: Tone,
    /// Its gloss.
    pub surface: Surface,
    /// Where it came from, in words.
    pub source: String,
    /// How well it is known, a place among the picture's `known`, where the painter says so.
    pub known: Option<usize>,
}

/// One colour under films.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Spot {
    /// The colour.
    #[serde(flatten)]
    pub tone: Tone,
    /// CIEDE2000 that holds nine times in ten.
    pub range: f64,
    /// The range in words.
    pub word: &'static str,
}

impl From<Predicted> for Spot {
    fn from(seen: Predicted) -> Self {
        Self {
            tone: seen.lab.into(),
            range: seen.range,
            word: difference_word(seen.range),
        }
    }
}

/// The chosen colour before and after.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Detail {
    /// `darker, warmer and richer`.
    pub change: String,
    /// CIEDE2000 of before to after.
    pub difference: f64,
    /// Colours that it may come out as: along the widest ways of its range, and the predicted one in the middle.
    pub spread: Vec<Tone>,
    /// `glaze`, `veil` or `covering` for all films together.
    pub verdict: &'static str,
    /// Why.
    pub reason: String,
}

impl OpenPicture {
    /// Everything to be shown.
    ///
    /// # Errors
    /// Where a film cannot be predicted.
    pub fn view(&mut self) -> Result<PictureView> {
        self.ground_all();
        self.tell_patches();
        let films: Vec<Film> = self.laid().into_iter().map(|(_, film)| film).collect();
        let paints: Vec<&Constants> = self.tubes.iter().map(|t| &t.constants).collect();
        let build_sd = self.laid_sd();
        let stack = self.kept.stack(&paints, &films)?.with_build_sd(&build_sd);
        let predicted: Vec<(Predicted, Matrix3<f64>)> = self
            .grounds
            .iter()
            .map(|(colour, ground)| match films.is_empty() {
                // Bare, a colour is as well known as it was read.
                true => bare(colour, ground),
                false => stack.over_with_spread(ground),
            })
            .collect();
        let before: Vec<Lab> = self.grounds.iter().map(|(_, ground)| ground.lab).collect();
        let after: Vec<Lab> = predicted.iter().map(|(seen, _)| seen.lab).collect();
        let left = stack.range_left();
        let here: Vec<Here> = self
            .grounds
            .iter()
            .zip(&after)
            .map(|((_, ground), after)| verdict::here(ground.lab, *after, left))
            .collect();
        // As the headline has it, which goes by this drawing; colours alike in lightness are none.
        let spans = [&before, &after].map(|labs| span(labs.iter().map(|lab| lab.l)));
        let share = match spans {
            [bare, under] if bare >= 5.0 => under / bare,
            _ => left / verdict::nominal_span(),
        };
        let detail = predicted
            .get(self.colour)
            .filter(|_| !films.is_empty())
            .map(|(seen, spread)| {
                let (from, here) = (before[self.colour], here[self.colour]);
                Detail {
                    change: words::change(from, seen.lab),
                    difference: colour::difference(from, seen.lab),
                    spread: spread_tones(seen.lab, spread),
                    verdict: here.word_for(seen.lab.l - from.l),
                    reason: words::reason(here, from, seen.lab, seen.range, left, share),
                }
            });
        let [headline, sentence, span, range_words] =
            self.words(&films, &here, &before, &predicted);
        Ok(PictureView {
            name: self.plan.name.clone(),
            notes: self.plan.notes.clone(),
            colours: self
                .plan
                .colours
                .iter()
                .zip(&before)
                .map(|(colour, lab)| ColourView {
                    name: colour.name.clone(),
                    tone: (*lab).into(),
                    surface: colour.surface,
                    source: colours::source_words(&colour.source),
                    known: colours::known(colour),
                })
                .collect(),
            films: self.film_views()?,
            seen: predicted
                .iter()
                .map(|(seen, _)| Spot::from(*seen))
                .collect(),
            film: (!self.plan.films.is_empty()).then_some(self.film),
            colour: (!self.plan.colours.is_empty()).then_some(self.colour),
            detail,
            coats: self.coats_view()?,
            order: self.order_view(&after)?,
            headline,
            sentence,
            span,
            range_words,
            cautions: self.notes(),
            patches: self.patches_view()?,
            to_choose: self.to_choose().map(|(_, tube)| tube.key.clone()).collect(),
            known: colours::KNOWN,
            media: MEDIA.each_ref().map(|medium| medium.words),
            undo: !self.past.is_empty(),
            redo: !self.future.is_empty(),
        })
    }

    fn words(
        &self,
        films: &[Film],
        here: &[Here],
        before: &[Lab],
        predicted: &[(Predicted, Matrix3<f64>)],
    ) -> [String; 4] {
        if self.plan.colours.is_empty() {
            return [
                "No colours yet.".to_owned(),
                "Add the colours of your underpainting: type them, pick them from a photo or scan, or take a ladder of greys."
                    .to_owned(),
                String::new(),
                String::new(),
            ];
        }
        if films.is_empty() {
            return [
                "Bare underpainting.".to_owned(),
                if self.plan.films.is_empty() {
                    "Choose a tube below: it is laid on as a film."
                } else {
                    "No coat of any film lies on it yet."
                }
                .to_owned(),
                String::new(),
                String::new(),
            ];
        }
        let names: Vec<&str> = self.plan.colours.iter().map(|c| c.name.as_str()).collect();
        let change = before
            .iter()
            .zip(predicted)
            .map(|(before, (after, _))| colour::difference(*before, after.lab))
            .fold(0.0, f64::max);
        let spans = [
            span(before.iter().map(|lab| lab.l)),
            span(predicted.iter().map(|(seen, _)| seen.lab.l)),
        ];
        let rises: Vec<f64> = before
            .iter()
            .zip(predicted)
            .map(|(before, (after, _))| after.lab.l - before.l)
            .collect();
        let (headline, sentence) = verdict_words(here, &rises, &names, change, spans);
        let range = predicted
            .iter()
            .map(|(seen, _)| seen.range)
            .fold(0.0, f64::max);
        [
            headline,
            sentence,
            if spans[0] < 5.0 {
                String::new()
            } else {
                span_words(spans)
            },
            format!(
                "Nine times in ten the real film is within {range:.1} CIEDE2000 of this, on every colour: {}. {RESTS_ON}",
                at_most_word(range)
            ),
        ]
    }
}

/// A bare colour, with its own uncertainty.
fn bare(colour: &Colour, ground: &Ground) -> (Predicted, Matrix3<f64>) {
    let spread = Matrix3::from_diagonal(&colour.lab_sd.map(|sd| sd * sd).into());
    let range = match colour.lab_sd {
        [0.0, 0.0, 0.0] => 0.0,
        _ => uncertainty::range(ground.lab, &spread),
    };
    let lab = ground.lab;
    (Predicted { lab, range }, spread)
}

/// Colours at the ends of the two widest ways of a range, with the middle between: nine in ten along each way lie inside.
fn spread_tones(centre: Lab, spread: &Matrix3<f64>) -> Vec<Tone> {
    /// The 90 % interval of a normal distribution, in standard deviations.
    const NINE_IN_TEN: f64 = 1.645;
    let axes = uncertainty::principal_axes(spread);
    let order = crate::order::order(&[0, 1, 2].map(|axis| -axes.column(axis).norm()));
    let at = |axis: usize, sign: f64| {
        let axis = axes.column(axis);
        // The end that is lighter comes first, so that it does not flip while a film is pulled.
        let up = if axis[0] >= 0.0 { sign } else { -sign } * NINE_IN_TEN;
        Tone::from(Lab::new(
            centre.l + up * axis[0],
            centre.a + up * axis[1],
            centre.b + up * axis[2],
        ))
    };
    vec![
        at(order[0], 1.0),
        at(order[1], 1.0),
        centre.into(),
        at(order[1], -1.0),
        at(order[0], -1.0),
    ]
}
