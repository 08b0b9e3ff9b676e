//! Tints of known ratio that are kept with tubes: they bring the parts of a mix to one unit.

use nalgebra::Matrix3;
use serde::Deserialize;

use super::{OpenPicture, Tube};
use crate::{
    Error, Result,
    colour::Lab,
    page::{paint::tint_name, shelf},
    paint::file::{MOST_ENTRIES, Measure, ScrapColour, Surface, TINT_PARTS, Tint, TintedWith},
    picture::{
        ground::without_surface,
        mix,
        tint::{self, Silent, Told},
    },
};

/// A tint as the page tells it.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NewTint {
    /// Key of the tube that it is kept with.
    pub tube: String,
    /// Key of the tube that it was stirred into.
    pub with: String,
    /// Parts of the one.
    pub parts: f64,
    /// Parts of the other.
    pub with_parts: f64,
    /// How they were measured.
    pub by: Measure,
    /// Key of the tint's own card, where it was drawn and read as one.
    #[serde(default)]
    pub card: Option<String>,
    /// Otherwise its L*, a*, b*, laid on too thick to see through.
    #[serde(default)]
    pub lab: Option<[f64; 3]>,
    /// Their standard deviations.
    #[serde(default)]
    pub lab_sd: [f64; 3],
    /// Its gloss.
    #[serde(default)]
    pub surface: Surface,
}

/// Tubes of a mix that tints tie to one of them, or to a white that is not in it.
pub(super) struct Tied {
    /// For each, films of its card in one part, for one film of the base's in a part of that.
    pub films: Vec<Told>,
    /// How all these tints were measured.
    pub by: Measure,
    /// The tube that all are tied to.
    base: usize,
}

type Named = [String; 4];

fn named(with: &TintedWith) -> Option<Named> {
    let TintedWith {
        name,
        maker,
        binder,
        batch,
    } = with;
    shelf::tube_named([name, maker, binder, batch])
}

impl Tube {
    fn named(&self) -> Option<Named> {
        shelf::tube_of(&self.record.paint)
    }
}

impl OpenPicture {
    /// The tube at hand of that name: one of `parts`, or else that which stands for its readings.
    fn tube_at_hand(&self, of: &Named, parts: &[(usize, f64)]) -> Option<usize> {
        let is = |i: usize| self.tubes[i].named().as_ref() == Some(of);
        let mut in_mix = parts.iter().map(|(i, _)| *i);
        in_mix
            .find(|&i| is(i))
            .or_else(|| self.to_choose().map(|(i, _)| i).find(|&i| is(i)))
    }

    /// Tints of a tube, whichever of its readings they are kept with.
    pub(super) fn tints_of(&self, paint: usize) -> impl Iterator<Item = &Tint> {
        let readings = self.tubes[paint].readings.iter();
        readings.flat_map(|&j| &self.tubes[j].record.tints)
    }

    /// What a tint of this tube tells beside that one.
    fn told(&self, paint: usize, base: usize, of: &Tint) -> std::result::Result<Told, Silent> {
        let [l, a, b] = of.colour.lab;
        let spread = Matrix3::from_diagonal(&of.colour.lab_sd.map(|sd| sd * sd).into());
        // The file does not bound L* apart from a* and b*.
        let seen = Lab::new(l.clamp(0.0, 100.0), a, b);
        let (lab, spread) = without_surface(seen, &spread, of.colour.surface);
        tint::told(&tint::Tint {
            paint: &self.tubes[paint].constants,
            with: &self.tubes[base].constants,
            ratio: of.parts / of.with_parts,
            by: of.by,
            lab,
            spread,
        })
    }

    /// What tints tie the parts of a mix together, if they do.
    pub(super) fn tied(&self, parts: &[(usize, f64)]) -> Option<Tied> {
        let mut tried: Vec<(Named, Measure)> = Vec::new();
        for tint in parts.iter().flat_map(|(paint, _)| self.tints_of(*paint)) {
            let Some(with) = named(&tint.with) else {
                continue;
            };
            if tried.contains(&(with.clone(), tint.by)) {
                continue;
            }
            tried.push((with.clone(), tint.by));
            let Some(base) = self.tube_at_hand(&with, parts) else {
                continue;
            };
            let films = parts
                .iter()
                .map(|(paint, _)| self.told_of(*paint, base, &with, tint.by));
            if let Some(films) = films.collect::<Option<Vec<Told>>>() {
                return Some(Tied {
                    films,
                    by: tint.by,
                    base,
                });
            }
        }
        None
    }

    /// What all tints of a tube with that of the base tell together, measured alike.
    fn told_of(&self, paint: usize, base: usize, with: &Named, by: Measure) -> Option<Told> {
        if self.tubes[paint].named().as_ref() == Some(with) {
            // Readings of one tube count in films of their own cards.
            let one = |i: usize| self.tubes[i].constants.absorption[0];
            let log = libm::log(one(base) / one(paint));
            return Some(Told { log, sd: 0.0 });
        }
        let told: Vec<Told> = self
            .tints_of(paint)
            .filter(|tint| tint.by == by && named(&tint.with).as_ref() == Some(with))
            .filter_map(|tint| self.told(paint, base, tint).ok())
            .collect();
        tint::together(&told)
    }

    /// What ties a mix, in words.
    pub(super) fn tied_words(&self, parts: &[(usize, f64)], tied: &Tied) -> String {
        let by = match tied.by {
            Measure::Weight => "by weight",
            Measure::Volume => "by volume",
        };
        let base = self.tubes[tied.base].name();
        let of: Vec<String> = parts
            .iter()
            .zip(&tied.films)
            .filter(|((paint, _), told)| *paint != tied.base && told.sd > 0.0)
            .map(|((paint, _), told)| {
                format!("{} is {}", self.tubes[*paint].name(), films_words(told))
            })
            .collect();
        format!(
            "Compared by tints of known ratio, so their parts, {by}, compare: where a part of {base} is one film of its card, a part of {}.",
            of.join("; of ")
        )
    }

    /// Every tint that is kept with these tubes, with what it tells or why it does not.
    pub(super) fn tint_words(&self, parts: &[(usize, f64)]) -> Vec<String> {
        let mut words = Vec::new();
        for (paint, _) in parts {
            for tint in self.tints_of(*paint) {
                let name = self.tubes[*paint].name();
                let base = named(&tint.with).and_then(|with| self.tube_at_hand(&with, parts));
                let told = match base {
                    None => format!(
                        "{} is not at hand, so it cannot be compared with it. Keep its card too, under the same label.",
                        tint.with.name.trim()
                    ),
                    Some(base) => match self.told(*paint, base, tint) {
                        Ok(told) => format!("a part is {}.", films_words(&told)),
                        Err(silent) => silent_words(silent, name, self.tubes[base].name()),
                    },
                };
                words.push(format!("Tint of {name}, {}: {told}", tint_name(tint)));
            }
        }
        words
    }

    /// The pigment file of a tube with a tint kept.
    ///
    /// # Errors
    /// [`Error::Refused`] where the tint cannot serve, and why.
    pub fn with_tint(&self, new: &NewTint) -> Result<String> {
        let refused = |words: String| Err(Error::Refused(words));
        let (tube, with) = (self.known_tube(&new.tube)?, self.known_tube(&new.with)?);
        let [least, most] = TINT_PARTS;
        for parts in [new.parts, new.with_parts] {
            if !(least..=most).contains(&parts) {
                return refused(format!(
                    "Give parts of both paints, from {least} to {most:.0}: such as 1 and 10."
                ));
            }
        }
        let Some(known_by) = with.named() else {
            return refused(
                "A tint remembers the other paint by its label. Name that tube first, under Tubes."
                    .to_owned(),
            );
        };
        if tube.named().as_ref() == Some(&known_by) || new.tube == new.with {
            return refused("A tint is of two paints. Choose another for the second.".to_owned());
        }
        let (colour, from) = match (&new.card, new.lab) {
            (Some(card), _) => {
                let card = self.known_tube(card)?;
                let seen = mix::too_thick(&card.constants);
                let (lab, spread) = seen.lab_with_spread(&card.constants.covariance);
                let colour = ScrapColour {
                    lab: [lab.l, lab.a, lab.b],
                    lab_sd: std::array::from_fn(|i| spread[(i, i)].max(0.0).sqrt().min(50.0)),
                    surface: Surface::Glossy,
                };
                (colour, format!("the card of {}", card.name()))
            }
            (None, Some(lab)) => {
                super::wanted::checked(lab)?;
                let colour = ScrapColour {
                    lab,
                    lab_sd: new.lab_sd.map(|sd| sd.clamp(0.0, 50.0)),
                    surface: new.surface,
                };
                (colour, "a scrap".to_owned())
            }
            (None, None) => {
                return refused("Say how the tint came out, or choose its card.".to_owned());
            }
        };
        let label = &with.record.paint;
        let tint = Tint {
            with: TintedWith {
                name: label.name.clone(),
                maker: label.maker.clone(),
                binder: label.binder.clone(),
                batch: label.batch.clone(),
            },
            parts: new.parts,
            with_parts: new.with_parts,
            by: new.by,
            colour,
            from,
        };
        let place = |key: &str| self.tubes.iter().position(|tube| tube.key == key);
        let (Some(paint), Some(base)) = (place(&new.tube), place(&new.with)) else {
            return refused("This tube is no longer kept. Choose another.".to_owned());
        };
        if let Err(silent) = self.told(paint, base, &tint) {
            let words = silent_words(silent, tube.name(), with.name());
            return refused(format!("Not kept: {words}"));
        }
        let mut record = tube.record.clone();
        record.tints.push(tint);
        if record.tints.len() > MOST_ENTRIES {
            return refused(format!(
                "More than {MOST_ENTRIES} tints of one tube cannot be kept. Take old ones away on the tube’s own page first."
            ));
        }
        Ok(record.write())
    }
}

/// `0.62 films of its own, give or take 18 %`.
fn films_words(told: &Told) -> String {
    let films = libm::exp(told.log);
    format!(
        "{} films of its own, give or take {:.0} %",
        if films < 10.0 {
            format!("{films:.2}")
        } else {
            format!("{films:.0}")
        },
        100.0 * (libm::exp(1.645 * told.sd) - 1.0)
    )
}

fn silent_words(silent: Silent, paint: &str, with: &str) -> String {
    match silent {
        Silent::Unlike(off) => format!(
            "its colour lies {off:.0} CIEDE2000 from every mix of {paint} and {with}, so it cannot serve. See that it is of these two, dry, and thick enough to hide what lies below."
        ),
        Silent::Faint => format!(
            "its colour hardly tells how much {paint} there is in it, so it cannot serve. Scan or measure it instead of judging by eye, or stir one that lies between the two: a dark paint into ten or twenty parts of white, a pale one into less."
        ),
    }
}
