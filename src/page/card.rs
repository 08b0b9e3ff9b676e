//! An open scan: what was found in it, how it was corrected, what it says of the paint.

mod correct;
mod place;
mod screen;
mod view;

pub use view::CardView;

use place::{Placed, Placing};

use crate::{
    Error, Result,
    card::{
        Layout,
        cells::{self, Sampled},
        find, print,
    },
    paint::{Record, file},
    reading::{self, Answers, Reading},
    repeat::{self, Joined},
    scan::{Scan, decode},
};

/// Where the corners stand then, for the painter to move: this far in from the scan's own.
const INSET: f64 = 0.15;

/// A scan that is open, with the cards in it.
pub struct OpenScan {
    scan: Scan,
    when: String,
    pasted: bool,
    /// At least one: where none was found, one without a layout.
    cards: Vec<OpenCard>,
    at: usize,
}

/// Told where the painter says that the films are not dry. That films may sink, dull and darken is common practice, no source.
const NOT_DRY: &str = "It is not dry yet. A film may sink, grow dull or darken until it is, so what you read now may not hold. Scan it again when it is dry to the touch.";

/// One card of the scan: where it lies, and what was read there since that was last changed.
#[derive(Default)]
struct OpenCard {
    place: Placed,
    second: Option<Second>,
    /// Cells of this scan; joined with a second scan's, if there is one.
    sampled: Option<Sampled>,
    joined: Option<Joined>,
    /// Why the second scan cannot be joined.
    apart: Option<Error>,
    reading: Option<Reading>,
    problem: Option<Error>,
}

/// A second scan of the same card.
struct Second {
    file_name: String,
    /// Its cells, all films.
    sampled: Sampled,
    /// How many films the first scan had then, and whether the second has them in the opposite order.
    films: usize,
    turned: bool,
}

impl Second {
    /// Its cells of the films of the first scan that count.
    fn of_films(&self, counted: &[usize]) -> Sampled {
        let films: Vec<usize> = counted
            .iter()
            .filter_map(|&film| {
                if self.turned {
                    (self.films - 1).checked_sub(film)
                } else {
                    Some(film)
                }
            })
            .collect();
        self.sampled.only(&films)
    }
}

impl OpenScan {
    /// Decodes a file. `when` is the time of reading, ISO 8601; `pasted` that it came by the clipboard.
    ///
    /// # Errors
    /// Those of [`decode::decode`].
    pub fn new(bytes: &[u8], file_name: &str, when: String, pasted: bool) -> Result<Self> {
        let scan = decode::decode(bytes, file_name)?;
        Ok(Self {
            when,
            pasted,
            cards: vec![OpenCard::default()],
            at: 0,
            scan,
        })
    }

    /// Looks for the cards. That there is none is kept as the problem to be shown, since the corners can be marked by hand.
    pub fn find(&mut self) {
        let answers = self.card().place.answers.clone();
        self.at = 0;
        self.cards = match print::find(&self.scan) {
            Ok(found) => found
                .into_iter()
                .map(|card| OpenCard {
                    place: Placed {
                        printed: card.printed,
                        ..Placed::of(card.layout, answers.clone())
                    },
                    ..OpenCard::default()
                })
                .collect(),
            Err(error) => vec![self.unfound(answers, error)],
        };
        if self.cards.is_empty() {
            self.cards = vec![self.unfound(Answers::default(), Error::NoCard)];
        }
    }

    /// No card: its corners stand some way inside the scan's, to be moved.
    fn unfound(&self, answers: Answers, problem: Error) -> OpenCard {
        let (w, h) = (self.scan.width as f64, self.scan.height as f64);
        let [left, right] = [INSET * w, (1.0 - INSET) * w];
        let [top, bottom] = [INSET * h, (1.0 - INSET) * h];
        OpenCard {
            place: Placed {
                marked: [[left, top], [right, top], [right, bottom], [left, bottom]],
                answers,
                ..Placed::default()
            },
            problem: Some(problem),
            ..OpenCard::default()
        }
    }

    /// Turns to another of the cards found.
    pub fn choose(&mut self, card: usize) {
        self.at = card.min(self.cards.len() - 1);
    }

    /// The painter says that this is no card, and looks at the next one. After the last one, the card's corners can be marked.
    pub fn dismiss(&mut self) {
        let mut others = (1..self.cards.len()).map(|i| (self.at + i) % self.cards.len());
        let next = others.find(|&i| !self.cards[i].place.dismissed);
        if next.is_none() {
            let answers = self.answers();
            *self.card_mut() = self.unfound(answers, Error::NoCard);
        }
        self.card_mut().place.dismissed = true;
        self.at = next.unwrap_or(self.at);
    }

    fn card(&self) -> &OpenCard {
        &self.cards[self.at]
    }

    fn card_mut(&mut self) -> &mut OpenCard {
        &mut self.cards[self.at]
    }

    /// What was read of the card at hand no longer holds.
    fn changed(&mut self) {
        let card = self.card_mut();
        card.sampled = None;
        card.joined = None;
        card.apart = None;
        card.reading = None;
        card.problem = None;
    }

    fn layout_mut(&mut self) -> Result<&mut Layout> {
        self.card_mut().place.layout.as_mut().ok_or(Error::NoCard)
    }

    /// The answers for the card at hand.
    pub fn answers(&self) -> Answers {
        self.card().place.answers.clone()
    }

    /// What only the painter knows of the card at hand. The scanner is the same for every card of the scan.
    ///
    /// # Errors
    /// When the measured white is none; the answers stay as they were.
    pub fn answer(&mut self, answers: Answers) -> Result<()> {
        if answers
            .white
            .is_some_and(|l| !(reading::DARKEST_WHITE..=100.0).contains(&l))
        {
            return Err(Error::Refused(format!(
                "The L* of a white stripe lies between {} and 100. Leave it empty if you have not measured it.",
                reading::DARKEST_WHITE
            )));
        }
        let scanner = answers.scanner;
        for card in &mut self.cards {
            if card.place.answers.scanner != scanner {
                card.place.answers.scanner = scanner;
                card.reading = None;
            }
        }
        let card = self.card_mut();
        card.place.answers = answers;
        card.reading = None;
        Ok(())
    }

    /// Takes a second scan of the card at hand.
    ///
    /// # Errors
    /// Those of decoding, finding and [`repeat::join`]; everything stays as it was.
    pub fn add_second(&mut self, bytes: &[u8], file_name: &str) -> Result<()> {
        let Some(layout) = &self.card().place.layout else {
            return Err(Error::NoCard);
        };
        let films = layout.films.len();
        let first = cells::sample(&self.scan, layout)?;
        let scan = decode::decode(bytes, file_name)?;
        let mut best: Result<(f64, Second)> = Err(Error::NoCard);
        for layout in find::find_with(&scan, Some(films))? {
            let joined = cells::sample(&scan, &layout)
                .and_then(|sampled| Ok((repeat::join(&first, &sampled)?, sampled)));
            best = match (best, joined) {
                (best, Ok((joined, sampled))) => {
                    let apart = joined.median();
                    match best {
                        Ok((less, second)) if less <= apart => Ok((less, second)),
                        _ => Ok((
                            apart,
                            Second {
                                file_name: file_name.to_owned(),
                                sampled,
                                films,
                                turned: joined.turned,
                            },
                        )),
                    }
                }
                (Err(_), Err(error)) => Err(error),
                (best, Err(_)) => best,
            };
        }
        let (_, second) = best?;
        self.changed();
        self.card_mut().second = Some(second);
        Ok(())
    }

    /// Goes on without the second scan.
    pub fn drop_second(&mut self) {
        self.changed();
        self.card_mut().second = None;
    }

    /// The places of all cards, what was left out, and the answers, as text for [`OpenScan::use_layout`].
    pub fn layout(&self) -> String {
        let placing = Placing {
            at: self.at,
            cards: self.cards.iter().map(|card| card.place.clone()).collect(),
        };
        placing.write()
    }

    /// Takes up a layout given by [`OpenScan::layout`] for the same scan. Cards that are as they were keep their reading.
    ///
    /// # Errors
    /// When the text is none, or holds what cannot lie in this scan; everything stays as it was.
    pub fn use_layout(&mut self, text: &str) -> Result<()> {
        let placing = Placing::read(text, [self.scan.width as f64, self.scan.height as f64])?;
        let mut held: Vec<Option<OpenCard>> = self.cards.drain(..).map(Some).collect();
        self.cards = placing
            .cards
            .into_iter()
            .enumerate()
            .map(|(i, place)| match held.get_mut(i).and_then(Option::take) {
                Some(card) if card.place == place => card,
                Some(card) => OpenCard {
                    place,
                    second: card.second,
                    ..OpenCard::default()
                },
                None => OpenCard {
                    place,
                    ..OpenCard::default()
                },
            })
            .collect();
        self.choose(placing.at);
        if self.card().place.layout.is_none() {
            self.card_mut().problem = Some(Error::NoCard);
        }
        Ok(())
    }

    /// Samples the cells, unless nothing has changed since. What goes wrong is kept as the problem to be shown.
    pub fn sample(&mut self) {
        let card = &mut self.cards[self.at];
        let Some(layout) = &card.place.layout else {
            return;
        };
        if card.sampled.is_some() {
            return;
        }
        let films = card.place.counted_films();
        let counts = |film, stripe| card.place.counts(film, stripe);
        let sampled = if films.is_empty() {
            Err(Error::NoFilms)
        } else {
            cells::sample_counted(&self.scan, layout, counts)
        };
        match sampled {
            Ok(sampled) => {
                card.problem = None;
                if let Some(second) = &card.second {
                    match repeat::join(&sampled, &second.of_films(&films)) {
                        Ok(joined) => card.joined = Some(joined),
                        Err(error) => card.apart = Some(error),
                    }
                }
                card.sampled = Some(sampled);
            }
            Err(error) => card.problem = Some(error),
        }
    }

    /// Fits what was sampled.
    pub fn fit(&mut self) {
        let card = &self.cards[self.at];
        let (None, Some(layout), Some(sampled)) =
            (&card.reading, card.place.counted(), &card.sampled)
        else {
            return;
        };
        let sampled = card
            .joined
            .as_ref()
            .map_or(sampled, |joined| &joined.sampled);
        let mut reading =
            reading::read_sampled(&self.scan, &layout, sampled.clone(), &card.place.answers);
        let untouched = !card.place.by_hand && !card.place.judged && card.place.left_out.is_empty();
        let strange = untouched
            .then(|| reading::stranger(&self.scan, &reading, sampled, &card.place.answers));
        if let Some((film, _)) = strange.flatten() {
            // Sampled anew: a second scan is joined film by film.
            self.leave_out_stranger(film);
            self.sample();
            return self.fit();
        }
        reading.record.provenance.when = self.when.clone();
        let noticed = self.noticed_here().map(|(code, words)| file::Finding {
            code: code.into(),
            words,
        });
        reading.record.findings.extend(noticed);
        if let Some(printed) = &card.place.printed {
            printed.inscribe(&layout, &mut reading.record);
        }
        self.cards[self.at].reading = Some(reading);
    }

    /// What only this way of reading can notice: code and words.
    fn noticed_here(&self) -> impl Iterator<Item = (&'static str, String)> {
        let card = self.card();
        let pasted = self.pasted.then(|| {
            (
                "pasted",
                format!(
                    "This came by the clipboard, which hands on {} bits a channel and {}. Better: save the scan as a file and drop that here.",
                    self.scan.origin.depth,
                    if self.scan.origin.profile_assumed {
                        "no colour profile"
                    } else {
                        "not always the scanner’s own colours"
                    }
                ),
            )
        });
        let second = card
            .second
            .as_ref()
            .and_then(|second| match (&card.joined, &card.apart) {
                (Some(joined), _) => Some(joined_words(joined, &second.file_name)),
                (None, Some(error)) => Some(("second-apart", error.to_string())),
                (None, None) => None,
            });
        let wet = (card.place.answers.dry == "no").then(|| ("not-dry", NOT_DRY.to_owned()));
        wet.into_iter().chain(pasted).chain(second)
    }

    /// The record of the paint, as yet without a label.
    ///
    /// # Errors
    /// The problem that is shown, where there is no paint.
    pub fn record(&self) -> Result<&Record> {
        let card = self.card();
        match (&card.reading, &card.problem) {
            (Some(reading), _) => Ok(&reading.record),
            (None, Some(problem)) => Err(Error::CannotPredict(problem.to_string())),
            (None, None) => Err(Error::NoCard),
        }
    }
}

/// How two scans compare: code and words.
fn joined_words(joined: &Joined, name: &str) -> (&'static str, String) {
    let most = joined.differences.iter().copied().fold(0.0, f64::max);
    let turned = if joined.turned {
        ", turned half round"
    } else {
        ""
    };
    let apart = format!(
        "{:.1} CIEDE2000 apart at the median, {most:.1} at most",
        joined.median()
    );
    if joined.agree {
        (
            "second-agrees",
            format!("Averaged with a second scan ({name}{turned}), which agrees: {apart}."),
        )
    } else {
        (
            "second-differs",
            format!(
                "A second scan ({name}{turned}) differs by more than noise: {apart}. The mean counts, and the difference widens every range as your scanner’s own spread."
            ),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::view::{Action, NO_CARD_THEN};
    use super::*;
    use crate::card::Doubt;

    #[test]
    fn what_is_no_card_can_be_said_of_the_only_one_too() {
        let file =
            std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans/cliff-rose.png");
        let bytes = std::fs::read(file).unwrap();
        let mut open = OpenScan::new(&bytes, "cliff-rose.png", String::new(), false).unwrap();
        open.find();
        open.card_mut().place.layout.as_mut().unwrap().doubts = vec![Doubt {
            code: "card".into(),
            words: "Is this a card?".into(),
            film: None,
            films: None,
        }];
        let (view, was) = (open.view().unwrap(), open.layout());
        let asked = view.question.unwrap().actions;
        assert!(
            asked
                .iter()
                .any(|action| matches!(action, Action::Dismiss { .. }))
        );
        open.dismiss();
        open.sample();
        open.fit();
        let view = open.view().unwrap();
        assert_eq!(view.cards, [false]);
        assert!(view.paint.is_none() && view.question.is_none() && view.layout.films.is_empty());
        assert_eq!(view.problem.unwrap().words, NO_CARD_THEN);
        // The same after a reload, and nothing is lost by it.
        let none = open.layout();
        open.use_layout(&was).unwrap();
        assert_eq!(open.view().unwrap().layout.films.len(), 3);
        open.use_layout(&none).unwrap();
        assert_eq!(open.view().unwrap().problem.unwrap().words, NO_CARD_THEN);
        open.find();
        assert_eq!(open.view().unwrap().cards, [true]);
    }
}
