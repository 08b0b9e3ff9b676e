//! Sheets to hang on a wall or stand on an easel: what they say, for the page to lay out.

use serde::Serialize;

use super::{OpenPicture, OpenShelf, Tone, picture::PictureView, shelf::Known};
use crate::Result;

/// A build in as many digits as beside its knife on the page (`www/parts/pull.js`).
fn times(build: f64) -> String {
    let digits = match build {
        _ if build < 0.0995 => 3,
        _ if build < 0.995 => 2,
        _ => 1,
    };
    format!("{build:.digits$} ×")
}

/// What colours on paper assume.
pub(super) const CONDITIONS: &str = "Colours for daylight (D50, CIE 1931 2° observer), glossy or oiled out, gloss itself left out; a printer shows them roughly, the numbers hold. Predicted from scans and tested on simulated cards only, no real card yet. Paint one patch and let it dry first.";

/// All tubes, from clear to covering within each family of hues.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WallView {
    /// Families that have tubes, around the hues.
    pub families: Vec<Family>,
    /// What the colours assume.
    pub conditions: &'static str,
}

/// Tubes of one family.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Family {
    /// Its name.
    pub name: &'static str,
    /// From clear to covering.
    pub tubes: Vec<WallTube>,
}

/// A tube on the wall.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WallTube {
    /// Its name.
    pub name: String,
    /// Maker, Colour Index names, binder, batch.
    pub detail: String,
    /// Verdict in two or three words.
    pub short: String,
    /// Milk on black, with its range.
    pub milk: String,
    /// The drawn strip.
    pub strip: String,
    /// Too thick to see through.
    pub masstone: Option<Tone>,
    /// The thinnest film over white.
    pub undertone: Option<Tone>,
    /// Lightfastness as on the label.
    pub lightfastness: String,
}

/// Families of hues: the undertone's angle in CIELAB at which each begins, in degrees (ours, after the usual colour names).
const FAMILIES: [(f64, &str); 7] = [
    (0.0, "Reds and browns"),
    (45.0, "Oranges"),
    (75.0, "Yellows"),
    (110.0, "Greens"),
    (195.0, "Blues"),
    (290.0, "Violets and roses"),
    (345.0, "Reds and browns"),
];
const NEUTRAL: &str = "Greys, blacks and whites";

fn family(known: &Known) -> &'static str {
    let hue = known.hue();
    if hue >= 360.0 {
        return NEUTRAL;
    }
    FAMILIES
        .iter()
        .rev()
        .find(|(from, _)| hue >= *from)
        .map_or(NEUTRAL, |(_, name)| name)
}

impl OpenShelf {
    /// The whole shelf for a wall. Several readings of a tube are shown as their mean.
    ///
    /// # Errors
    /// Where a film cannot be predicted.
    pub fn wall(&mut self) -> Result<WallView> {
        let mut families: Vec<(&'static str, Vec<&Known>)> = Vec::new();
        let names = FAMILIES[..6].iter().map(|(_, name)| *name).chain([NEUTRAL]);
        names.for_each(|name| families.push((name, Vec::new())));
        for row in self.list(&super::Ask::default())?.rows {
            let Some(known) = self.tube(row.id) else {
                continue;
            };
            let name = family(known);
            if let Some((_, tubes)) = families.iter_mut().find(|(of, _)| *of == name) {
                tubes.push(known);
            }
        }
        Ok(WallView {
            families: families
                .into_iter()
                .filter(|(_, tubes)| !tubes.is_empty())
                .map(|(name, mut tubes)| {
                    crate::order::sort_by_number(&mut tubes, |tube| tube.milkiness());
                    Family {
                        name,
                        tubes: tubes.into_iter().map(Known::on_the_wall).collect(),
                    }
                })
                .collect(),
            conditions: CONDITIONS,
        })
    }
}

/// One page of a picture for the easel.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PlanSheet {
    /// Its name.
    pub name: String,
    /// Films in the order of painting, the first first.
    pub films: Vec<SheetFilm>,
    /// The colour over which they do what they do; empty where there is none.
    pub over: String,
    /// Every colour before and after.
    pub colours: Vec<SheetColour>,
    /// Lights and darks before and after, in words.
    pub span: String,
    /// What to look at before and while painting.
    pub checks: Vec<String>,
    /// The painter's notes.
    pub notes: String,
    /// What the colours assume.
    pub conditions: &'static str,
}

/// A film to be painted.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SheetFilm {
    /// Name of the tube.
    pub name: String,
    /// How many, and how thick each is in middle films of its card.
    pub coats: String,
    /// The recipe.
    pub recipe: String,
    /// Over white.
    pub tone: Option<Tone>,
    /// What it does.
    pub does: String,
}

/// One underpainting colour.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SheetColour {
    /// Its name.
    pub name: String,
    /// Before any film.
    pub before: Tone,
    /// Under all films.
    pub after: Tone,
    /// How sure that is.
    pub range: String,
}

impl OpenPicture {
    /// The sheet of the open picture.
    ///
    /// # Errors
    /// Where a film cannot be predicted.
    pub fn sheet(&mut self) -> Result<PlanSheet> {
        let view: PictureView = self.view()?;
        let films: Vec<SheetFilm> = view
            .films
            .iter()
            .map(|film| SheetFilm {
                name: film.name.clone(),
                coats: {
                    let by = match film.way.as_deref() {
                        None => String::new(),
                        Some("") => " in my coats".to_owned(),
                        Some(way) => format!(" in my coats by {way}"),
                    };
                    match film.coats {
                        0 => "left out".to_owned(),
                        1 => format!("one{by}, {}", times(film.build)),
                        n => format!("{n}{by}, each {}", times(film.build)),
                    }
                },
                recipe: match film.thinning_words.as_str() {
                    "" => "paint alone".to_owned(),
                    words => format!("{}. {words}", film.recipe),
                },
                tone: film.tone.clone(),
                does: film.reason.clone(),
            })
            .collect();
        let mut checks = vec![
            "Paint one patch of every film on a scrap, let it dry, and hold it beside these colours.".to_owned(),
            "Each film dry to the touch, and not dull, before the next; oil out sunken places thinly.".to_owned(),
        ];
        if films.len() > 1 {
            checks.push("Fat over lean: a film with more oil than the one below, or as much, never with less.".to_owned());
        }
        checks.extend(view.cautions.iter().cloned());
        checks.push("Rags with drying oil can set themselves on fire: spread them flat to dry, or keep them under water in a closed metal can.".to_owned());
        Ok(PlanSheet {
            colours: view
                .colours
                .iter()
                .zip(&view.seen)
                .map(|(colour, seen)| SheetColour {
                    name: colour.name.clone(),
                    before: colour.tone.clone(),
                    after: seen.tone.clone(),
                    range: format!("± {:.1}", seen.range),
                })
                .collect(),
            over: view
                .colour
                .and_then(|at| view.colours.get(at))
                .map_or_else(String::new, |colour| colour.name.clone()),
            name: view.name,
            films,
            span: view.span,
            checks,
            notes: view.notes,
            conditions: CONDITIONS,
        })
    }
}
