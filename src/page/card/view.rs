//! An open scan as the page shows it.

use serde::Serialize;

use super::{OpenScan, screen::PictureFrame};
use crate::{
    Error, Result,
    card::{
        Edge, Ground, Layout,
        cells::{self, Sampled},
        findings::{Finding, Place},
        print::{self, Printed},
        tones::white,
    },
    colour::{self, Xyz},
    page::{PaintView, Problem, class::suggested},
    picture::{ground::LEAST_LEFT, pick},
    reading::{self, Answers},
};

/// From colours as the scan has them to colours by the card's own tones: so much light added everywhere, then all of it times a
/// factor.
#[derive(Debug, Clone, Copy)]
struct Between {
    light: f64,
    factor: f64,
}

impl Between {
    const SAME: Self = Self {
        light: 0.0,
        factor: 1.0,
    };

    /// From what both say of the same cells: the lightest, which is the white stripe, and the darkest film.
    fn of(seen: &Sampled, by_tones: &Sampled) -> Self {
        let (white, white_to) = (seen.white.xyz[1], by_tones.white.xyz[1]);
        let films = seen.pooled.iter().zip(&by_tones.pooled);
        let dark = films
            .map(|(seen, to)| (seen.xyz[1], to.xyz[1]))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        let factor = match dark {
            Some((dark, dark_to)) if white - dark > 0.02 => (white_to - dark_to) / (white - dark),
            _ if white > 0.0 => white_to / white,
            _ => 1.0,
        };
        if factor <= 0.0 {
            return Self::SAME;
        }
        Self {
            light: white_to / factor - white,
            factor,
        }
    }

    fn applied(self, xyz: [f64; 3]) -> [f64; 3] {
        std::array::from_fn(|i| {
            let least = LEAST_LEFT * colour::WHITE[i];
            ((xyz[i] + self.light * colour::WHITE[i]) * self.factor).max(least)
        })
    }
}

/// Told once the painter has said that what was found is no card.
pub(super) const NO_CARD_THEN: &str = "What was found is no card, you said. If the card is somewhere else in this picture, drag the four corners to it. If not, choose another scan with all of the card in it.";

impl OpenScan {
    /// Everything that the page shows of it.
    ///
    /// # Errors
    /// When the corners are no quadrangle, or the curves cannot be drawn.
    pub fn view(&self) -> Result<CardView> {
        let view = self.picture_frame()?;
        let layout = self.shown_layout();
        let card = self.card();
        let place = &card.place;
        let questions = self.questions();
        let paint = card
            .reading
            .as_ref()
            .map(|reading| PaintView::of(&reading.record))
            .transpose()?;
        Ok(CardView {
            cards: self
                .cards
                .iter()
                .map(|card| !card.place.dismissed)
                .collect(),
            labels: self
                .cards
                .iter()
                .map(|card| card.place.printed.as_ref())
                .map(|printed| printed.map_or_else(String::new, |printed| printed.label.clone()))
                .collect(),
            suggested: match self.cards.len() {
                1 => suggested(&self.scan.origin.file_name),
                _ => String::new(),
            },
            card: self.at,
            found: if place.layout.is_some() {
                found_words(&layout)
            } else {
                "If the card is there, drag the four corners to the outer corners of its stripes."
                    .to_owned()
            },
            squared_from: place.layout.as_ref().map(turned_words).unwrap_or_default(),
            problem: card.problem.as_ref().map(|error| self.problem_view(error)),
            problem_headline: card
                .problem
                .as_ref()
                .map(problem_headline)
                .unwrap_or_default()
                .to_owned(),
            question: questions.first().map(|question| QuestionView {
                words: question.words.clone(),
                mark: question.mark().map_or(String::new(), |n| n.to_string()),
                left: questions.len(),
                actions: question.actions(),
            }),
            findings: self.findings(&view),
            layout: self.layout_view(&view, &layout, &questions),
            answers: place.answers.clone(),
            second: card.second.is_some(),
            printed: place.printed.as_ref().map(|of| self.printed_view(of)),
            paint,
        })
    }

    fn printed_view(&self, printed: &Printed) -> PrintedView {
        let card = self.card();
        let origin = &self.scan.origin;
        let photo = origin.camera
            || card
                .place
                .layout
                .as_ref()
                .is_some_and(|layout| layout.perspective() > white::PERSPECTIVE);
        // Squares are lit and exposed like the films beside them.
        let joined = card.joined.as_ref().map(|joined| &joined.sampled);
        let by = card.reading.as_ref().zip(joined.or(card.sampled.as_ref()));
        let tones = by.map(|(reading, seen)| Between::of(seen, &reading.sampled));
        let guessed = by.is_some_and(|(reading, seen)| reading.sampled.white.xyz != seen.white.xyz);
        let mut share = if guessed && !photo {
            white::Level::Usual(white::Doubt::Light).sd()
        } else {
            0.0
        };
        share = libm::hypot(share, printed.glare.unwrap_or(0.0));
        let device = pick::device_sd(photo, origin.profile_assumed);
        let colours = printed.squares.iter().map(|square| {
            let tones = tones.unwrap_or(Between::SAME);
            let [x, y, z] = tones.applied(square.xyz);
            let (lab, slopes) = colour::lab_with_slopes(Xyz::new(x, y, z));
            let sd = |axis: usize| {
                let of_pixels = (0..3).map(|i| slopes[axis][i] * tones.factor * square.xyz_sd[i]);
                let of_light = (0..3).map(|i| slopes[axis][i] * [x, y, z][i]).sum::<f64>() * share;
                let variance = of_pixels.map(|v| v * v).sum::<f64>()
                    + of_light * of_light
                    + device[axis] * device[axis];
                variance.sqrt()
            };
            SquareView {
                lab: [lab.l.clamp(0.0, 100.0), lab.a, lab.b],
                lab_sd: [0, 1, 2].map(sd),
                pixels: square.pixels,
            }
        });
        PrintedView {
            number: printed.number,
            label: printed.label.clone(),
            codes: printed.codes,
            squared: printed.squared,
            colours: colours.collect(),
            file: origin.file_name.clone(),
            profile: origin.profile.clone(),
            photo,
        }
    }

    /// Why there is no paint: where the painter has said that what was found is no card, what to do now.
    fn problem_view(&self, error: &Error) -> Problem {
        let problem = Problem::from(error);
        if !matches!(error, Error::NoCard) || !self.card().place.dismissed {
            return problem;
        }
        Problem {
            words: NO_CARD_THEN.to_owned(),
            ..problem
        }
    }

    fn layout_view(
        &self,
        view: &PictureFrame,
        layout: &Layout,
        questions: &[Question],
    ) -> LayoutView {
        let place = &self.card().place;
        let counted = place.counted_films();
        let mark = |film: usize, top: bool| {
            let edge = |q: &Question| {
                let at = q.edges.iter().position(|&edge| edge == (film, top))?;
                Some(q.first_mark? + at)
            };
            questions
                .iter()
                .find_map(edge)
                .map_or(String::new(), |n| n.to_string())
        };
        let films = layout
            .films
            .iter()
            .enumerate()
            .map(|(film, band)| FilmView {
                top: edge_view(view, band.top, mark(film, true)),
                bottom: edge_view(view, band.bottom, mark(film, false)),
                number: counted.iter().position(|&i| i == film).map(|i| i + 1),
            });
        let between = layout.stripes.windows(2);
        let stripes = between.map(|pair| view.of_card([0.5 * (pair[0].to + pair[1].from), 0.0])[0]);
        let unit = if layout.millimetres || place.layout.is_none() {
            1.0
        } else {
            0.1
        };
        LayoutView {
            corners: place.corners().map(|corner| view.of_scan(corner)),
            films: films.collect(),
            stripes: stripes.collect(),
            cells: self.cell_views(view),
            unit: unit / view.unit,
            unit_words: if layout.millimetres {
                "mm"
            } else {
                "tenths of a stripe"
            },
        }
    }

    /// What the reader is unsure of, the most important first. Doubtful edges are numbered in this order.
    pub(super) fn questions(&self) -> Vec<Question> {
        let Some(layout) = &self.card().place.layout else {
            return Vec::new();
        };
        let counted = self.card().place.counted_films();
        let doubtful = |film: usize| {
            let band = &layout.films[film];
            let edges = [(true, band.top.doubtful), (false, band.bottom.doubtful)];
            edges
                .into_iter()
                .filter(|&(_, doubtful)| doubtful && counted.contains(&film))
                .map(move |(top, _)| (film, top))
                .collect::<Vec<_>>()
        };
        let mut questions: Vec<Question> = Vec::new();
        for (i, doubt) in layout.doubts.iter().enumerate() {
            let film = doubt.film.filter(|&film| film < layout.films.len());
            let left_out = film.is_some_and(|film| !counted.contains(&film));
            if left_out && doubt.code != reading::STRANGER {
                continue;
            }
            let told = |film| questions.iter().any(|q| q.film == Some(film));
            let edges = film
                .filter(|&film| !told(film))
                .map(doubtful)
                .unwrap_or_default();
            questions.push(Question {
                code: doubt.code.clone(),
                words: doubt
                    .question(film.and_then(|film| counted.iter().position(|&at| at == film))),
                doubt: Some(i),
                film,
                films: doubt.films,
                edges,
                first_mark: None,
            });
        }
        for (i, &film) in counted.iter().enumerate() {
            let edges = doubtful(film);
            if edges.is_empty() || questions.iter().any(|q| q.film == Some(film)) {
                continue;
            }
            let which = match edges[..] {
                [(_, true)] => format!("Is the upper edge of film {} in the right place?", i + 1),
                [(_, false)] => format!("Is the lower edge of film {} in the right place?", i + 1),
                _ => format!("Are the edges of film {} in the right place?", i + 1),
            };
            questions.push(Question {
                code: "doubtful-edge".into(),
                words: which,
                doubt: None,
                film: Some(film),
                films: None,
                edges,
                first_mark: None,
            });
        }
        let mut next = 1;
        for question in questions.iter_mut().filter(|q| !q.edges.is_empty()) {
            question.first_mark = Some(next);
            next += question.edges.len();
        }
        questions
    }

    /// What to tell the painter, the most important first. The same of several places is told once.
    fn findings(&self, view: &PictureFrame) -> Vec<FindingView> {
        let card = self.card();
        let mut told: Vec<FindingView> = Vec::new();
        for (code, words) in self.noticed_here() {
            told.push(FindingView {
                code: code.into(),
                words,
                places: Vec::new(),
                actions: if code.starts_with("second") {
                    vec![Action::DropSecond {
                        words: "Go on without it",
                    }]
                } else {
                    Vec::new()
                },
            });
        }
        if let (Some(reading), Some(layout)) = (&card.reading, card.place.counted()) {
            // What the clipboard lost is told already.
            let all = reading
                .findings
                .iter()
                .filter(|finding| !(self.pasted && finding.code == "no-profile"));
            let mut groups: Vec<Vec<&Finding>> = Vec::new();
            for finding in all {
                match groups
                    .iter_mut()
                    .find(|group| group[0].code == finding.code)
                {
                    Some(group) => group.push(finding),
                    None => groups.push(vec![finding]),
                }
            }
            told.extend(groups.iter().map(|group| {
                FindingView {
                    code: group[0].code.into(),
                    words: group_words(group),
                    places: group
                        .iter()
                        .filter(|finding| finding.place != Place::Card)
                        .flat_map(|finding| finding.outlines(&self.scan, &layout))
                        .map(|outline| outline.map(|corner| view.of_card(corner)))
                        .collect(),
                    actions: self.actions_for(group),
                }
            }));
            let of_print = reading.record.findings.iter();
            told.extend(
                of_print
                    .filter(|finding| print::FINDINGS.contains(&finding.code.as_str()))
                    .map(|finding| FindingView {
                        code: finding.code.clone(),
                        words: finding.words.clone(),
                        places: Vec::new(),
                        actions: Vec::new(),
                    }),
            );
        }
        let counted = card.place.counted_films();
        let (films, doubts) = card
            .place
            .layout
            .as_ref()
            .map_or((0, &[][..]), |l| (l.films.len(), &l.doubts));
        // While it is asked about, the question says that it is left out.
        let asked = |film| {
            doubts
                .iter()
                .any(|d| d.code == reading::STRANGER && d.film == Some(film))
        };
        told.extend(
            (0..films)
                .filter(|film| !counted.contains(film) && !asked(*film))
                .map(|film| {
                    let layout = self.shown_layout();
                    FindingView {
                        code: "left-out".into(),
                        words: "A film is left out; its place is not taken for bare card.".into(),
                        places: vec![
                            film_outline(&layout, film).map(|corner| view.of_card(corner)),
                        ],
                        actions: vec![
                            Action::PutBack {
                                words: "Put it back",
                                film,
                            },
                            Action::TakeAway {
                                words: "No film there",
                                film,
                            },
                        ],
                    }
                }),
        );
        told
    }

    /// What can be done about a finding at once: a film that is at fault can be left out while others remain, and a surface
    /// that looks dull is a question.
    fn actions_for(&self, group: &[&Finding]) -> Vec<Action> {
        let finding = group[0];
        if finding.code == "dull" {
            return vec![Action::Ask {
                words: "Answer",
                question: "surface",
            }];
        }
        if finding.code == "scanner-kind" {
            return vec![Action::Ask {
                words: "Answer",
                question: "scanner",
            }];
        }
        if !matches!(finding.code, "uneven" | "dirt" | "clipped-film") {
            return Vec::new();
        }
        let film = |finding: &Finding| match finding.place {
            Place::Film(film) | Place::Cells(film, _) => Some(film),
            _ => None,
        };
        let Some(first) = film(finding) else {
            return Vec::new();
        };
        let counted = self.card().place.counted_films();
        // Findings count only the films that are not left out.
        match counted.get(first) {
            Some(&at) if counted.len() > 1 && group.iter().all(|f| film(f) == Some(first)) => {
                vec![Action::LeaveOut {
                    words: "Leave it out",
                    film: at,
                }]
            }
            _ => Vec::new(),
        }
    }

    fn cell_views(&self, view: &PictureFrame) -> Vec<CellView> {
        let card = self.card();
        let Some(layout) = &card.place.layout else {
            return Vec::new();
        };
        // An outline that is out of order has been told as the problem already.
        let cells = cells::outlines(&self.scan, layout).unwrap_or_default();
        let counted = card.place.counted_films();
        let reached = |cell: &cells::Outline| {
            let number = counted.iter().position(|&film| film == cell.film);
            card.sampled.as_ref().is_none_or(|sampled| {
                sampled
                    .crossings
                    .iter()
                    .find(|c| Some(c.film) == number && c.stripe == cell.stripe)
                    .is_none_or(|crossing| crossing.reached)
            })
        };
        cells
            .into_iter()
            .map(|cell| CellView {
                film: cell.film,
                stripe: cell.stripe,
                ground: cell.ground,
                state: if !card.place.counts(cell.film, cell.stripe) {
                    CellState::LeftOut
                } else if reached(&cell) {
                    CellState::Counts
                } else {
                    CellState::Bare
                },
                outline: cell.corners.map(|corner| view.of_card(corner)),
            })
            .collect()
    }
}

fn film_outline(layout: &Layout, film: usize) -> [[f64; 2]; 4] {
    let (band, width) = (layout.films[film], layout.size[0]);
    [
        [0.0, band.top.left],
        [width, band.top.right],
        [width, band.bottom.right],
        [0.0, band.bottom.left],
    ]
}

fn group_words(group: &[&Finding]) -> String {
    let finding = group[0];
    let more = match group.len() - 1 {
        0 => String::new(),
        1 => " So it is in one more place.".to_owned(),
        n => format!(" So it is in {} more places.", number_word(n)),
    };
    format!("{}{more} {}", finding.words, finding.action)
}

/// Something that the reader asks.
pub(super) struct Question {
    code: String,
    words: String,
    /// Index of the doubt behind it.
    pub(super) doubt: Option<usize>,
    /// The film it is about.
    pub(super) film: Option<usize>,
    /// How many films there may be instead.
    pub(super) films: Option<usize>,
    /// Its doubtful edges: film, and whether it is the upper one.
    edges: Vec<(usize, bool)>,
    /// Number of the first of them in the picture.
    first_mark: Option<usize>,
}

impl Question {
    fn mark(&self) -> Option<usize> {
        self.first_mark
    }

    /// What can be answered: that it is right first, then what else it may be.
    fn actions(&self) -> Vec<Action> {
        let settle = |words| Action::Settle { words, question: 0 };
        let mut actions = match self.code.as_str() {
            "direction" => vec![
                settle("Yes, this way"),
                Action::Exchange {
                    words: "Exchange them",
                },
            ],
            "another-film" => vec![
                settle("No other film"),
                Action::AddFilm {
                    words: "Add a film",
                },
            ],
            "film-count" => {
                let rival = self.films.filter(|&films| films > 0);
                let count = rival.map(|films| Action::CountFilms {
                    words: format!("No, {films}"),
                    films,
                });
                let add = Action::AddFilm {
                    words: "Add a film",
                };
                vec![settle("That many"), count.unwrap_or(add)]
            }
            "card" => vec![settle("Yes"), Action::Dismiss { words: "No card" }],
            reading::STRANGER => {
                let film = self.film.unwrap_or_default();
                vec![
                    settle("No, leave it out"),
                    Action::PutBack {
                        words: "Yes, count it",
                        film,
                    },
                ]
            }
            _ => vec![settle("Yes")],
        };
        if let Some(&(film, top)) = self.edges.first() {
            actions.push(Action::MoveEdge {
                words: "Move it",
                film,
                top,
            });
        }
        // What was left out is no bare card either.
        if let Some(film) = self.film.filter(|_| self.code != reading::STRANGER) {
            actions.push(Action::TakeAway {
                words: "No film there",
                film,
            });
        }
        actions
    }
}

/// An open scan as the page shows it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CardView {
    /// For each card that was found, whether it is one: the painter may have said no.
    pub cards: Vec<bool>,
    /// What the codes of each say of its tube.
    pub labels: Vec<String>,
    /// A name that the file offers for the tube of its one card; empty where it has none of its own.
    pub suggested: String,
    /// Which of them this is, from 0.
    pub card: usize,
    /// What was found, in words.
    pub found: String,
    /// How the scan was turned.
    pub squared_from: String,
    /// Where card, stripes, films and cells lie in the picture shown.
    pub layout: LayoutView,
    /// Why there is no paint.
    pub problem: Option<Problem>,
    /// The same in a few words.
    pub problem_headline: String,
    /// What the reader asks next.
    pub question: Option<QuestionView>,
    /// What was noticed, the most important first.
    pub findings: Vec<FindingView>,
    /// What the painter said of this card.
    pub answers: Answers,
    /// Whether a second scan is joined.
    pub second: bool,
    /// What a printed card says of itself.
    pub printed: Option<PrintedView>,
    /// The paint.
    pub paint: Option<PaintView>,
}

/// What a printed card says of itself.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PrintedView {
    /// Its number.
    pub number: u32,
    /// The label typed before it was printed, perhaps cut.
    pub label: String,
    /// Codes that were read, of four.
    pub codes: usize,
    /// Whether the card was squared from them.
    pub squared: bool,
    /// Underpainting colours that were painted in, by the card's own tones.
    pub colours: Vec<SquareView>,
    /// File name of the scan.
    pub file: String,
    /// Its profile.
    pub profile: String,
    /// Whether a camera took it.
    pub photo: bool,
}

/// A colour that was painted into a square.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SquareView {
    /// L*, a*, b*.
    pub lab: [f64; 3],
    /// Their standard deviations: pixels, the device, and what the card's tones leave open.
    pub lab_sd: [f64; 3],
    /// Pixels looked at.
    pub pixels: u64,
}

/// Where things lie, in pixels of the picture shown.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LayoutView {
    /// Top left, top right, bottom right, bottom left.
    pub corners: [[f64; 2]; 4],
    /// Films from top to bottom.
    pub films: Vec<FilmView>,
    /// Edges between a stripe and the next, from left to right.
    pub stripes: Vec<f64>,
    /// Every film over every stripe where there is room to measure.
    pub cells: Vec<CellView>,
    /// Pixels in one step of the keys.
    pub unit: f64,
    /// What such a step is.
    pub unit_words: &'static str,
}

/// One film.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FilmView {
    /// Its upper edge.
    pub top: EdgeView,
    /// Its lower edge.
    pub bottom: EdgeView,
    /// Its number among those that count, from 1; absent when it is left out.
    pub number: Option<usize>,
}

/// One edge: heights at the card's left and right border.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EdgeView {
    /// At the left.
    pub left: f64,
    /// At the right.
    pub right: f64,
    /// Number of its doubt, or empty.
    pub mark: String,
}

fn edge_view(view: &PictureFrame, edge: Edge, mark: String) -> EdgeView {
    let height = |v: f64| view.of_card([0.0, v])[1];
    EdgeView {
        left: height(edge.left),
        right: height(edge.right),
        mark,
    }
}

/// One film over one stripe.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CellView {
    /// From 0.
    pub film: usize,
    /// From 0.
    pub stripe: usize,
    /// What lies under it.
    pub ground: Ground,
    /// Whether it counts.
    pub state: CellState,
    /// Corners of the part that counts.
    pub outline: [[f64; 2]; 4],
}

/// Whether a cell counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum CellState {
    /// It does.
    Counts,
    /// The painter left it out.
    LeftOut,
    /// The film does not reach it.
    Bare,
}

/// A question, the first of those left.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct QuestionView {
    /// The question.
    pub words: String,
    /// Number of its first edge in the picture, or empty.
    pub mark: String,
    /// How many questions are left, this one counted.
    pub left: usize,
    /// What can be answered.
    pub actions: Vec<Action>,
}

/// Something noticed, with what can be done.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FindingView {
    /// For programs.
    pub code: String,
    /// For the painter.
    pub words: String,
    /// Where it is in the picture; nowhere in particular when empty.
    pub places: Vec<[[f64; 2]; 4]>,
    /// What can be done at once.
    pub actions: Vec<Action>,
}

/// What a finding or question offers to do. `words` are the button's.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "do", rename_all = "kebab-case")]
#[allow(missing_docs)] // The fields are all alike: films count from 0.
pub enum Action {
    /// Go to an edge in the picture.
    MoveEdge {
        words: &'static str,
        film: usize,
        top: bool,
    },
    /// It is right as it is.
    Settle {
        words: &'static str,
        question: usize,
    },
    /// It is no card.
    Dismiss { words: &'static str },
    /// Exchange stripes and films.
    Exchange { words: &'static str },
    /// Put a film into the widest gap.
    AddFilm { words: &'static str },
    /// There are so many films.
    CountFilms { words: String, films: usize },
    /// There is no film.
    TakeAway { words: &'static str, film: usize },
    /// Leave a film out of the fit.
    LeaveOut { words: &'static str, film: usize },
    /// Take a film back.
    PutBack { words: &'static str, film: usize },
    /// Go to one of the questions `dry`, `surface`, `sealed`.
    Ask {
        words: &'static str,
        question: &'static str,
    },
    /// Go on without the second scan.
    DropSecond { words: &'static str },
}

fn problem_headline(error: &Error) -> &'static str {
    match error {
        Error::NoCard => "Where is the card?",
        Error::NoFilms => "No paint was found.",
        _ => "This card cannot be read yet.",
    }
}

/// `three films, three black and three white stripes`.
fn found_words(layout: &Layout) -> String {
    let stripes = |ground| {
        layout
            .stripes
            .iter()
            .filter(|stripe| stripe.ground == ground)
            .count()
    };
    format!(
        "{} found, {} black and {}",
        counted_words(layout.films.len(), "film"),
        number_word(stripes(Ground::Black)),
        counted_words(stripes(Ground::White), "white stripe")
    )
}

fn counted_words(count: usize, noun: &str) -> String {
    format!(
        "{} {noun}{}",
        number_word(count),
        if count == 1 { "" } else { "s" }
    )
}

fn number_word(count: usize) -> String {
    const WORDS: [&str; 13] = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten",
        "eleven", "twelve",
    ];
    WORDS
        .get(count)
        .map_or_else(|| count.to_string(), |word| (*word).to_owned())
}

/// How far the scan was turned from square, in the direction of the clock.
fn turned_words(layout: &Layout) -> String {
    let [[x0, y0], [x1, y1], ..] = layout.corners;
    let degrees = libm::atan2(y1 - y0, x1 - x0).to_degrees();
    let quarter = 90.0 * (degrees / 90.0).round();
    let off = degrees - quarter;
    let way = match quarter.abs() as i32 {
        90 => ", lying on its side",
        180 => ", upside down",
        _ => "",
    };
    if off.abs() < 0.05 {
        format!("square in the scan{way}")
    } else {
        format!("squared from a scan turned {:.1}°{way}", off.abs())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::card::place::tests::layout;

    #[test]
    fn what_was_found_is_said_in_words() {
        let square = layout([[0.0, 0.0], [300.0, 0.0], [300.0, 400.0], [0.0, 400.0]]);
        assert_eq!(
            found_words(&square),
            "no films found, one black and two white stripes"
        );
        assert_eq!(turned_words(&square), "square in the scan");
        let turned = layout([[0.0, 0.0], [299.8, 10.5], [285.8, 410.3], [-14.0, 399.8]]);
        assert_eq!(turned_words(&turned), "squared from a scan turned 2.0°");
        let on_its_side = layout([[400.0, 0.0], [400.0, 300.0], [0.0, 300.0], [0.0, 0.0]]);
        assert_eq!(
            turned_words(&on_its_side),
            "square in the scan, lying on its side"
        );
    }
}
