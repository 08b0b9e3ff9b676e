//! Every change of a picture, one step of undo each.

use serde::Deserialize;
use serde_json::Map;

use super::{MOST_STEPS, OpenPicture, Tube, colours};
use crate::{
    Error, Result,
    paint::file::Surface,
    picture::{
        coat::Coat,
        medium::{MEDIA, Medium},
        plan::{Correction, Patch, Plan, PlannedFilm, SCATTER, Source, Thinning},
    },
};

/// One change, as the page asks for it. Each is an object of its own name and not one with a tag inside: to find a tag, a reader
/// first holds everything in a general form, and the reading of that is another 60 kB of the page.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub enum Change {
    /// Names the picture.
    Name {
        /// Its name.
        name: String,
    },
    /// Lays the films of a picture in place of its own.
    Films {
        /// That picture, as saved.
        of: String,
    },
    /// Writes its notes.
    Notes {
        /// All of them.
        notes: String,
    },
    /// Lays a film of a tube on top.
    Lay {
        /// Key of the tube.
        tube: String,
        /// How thick; at glaze depth if not said.
        build: Option<f64>,
    },
    /// Lays one film alone: those that are there go.
    LayAlone {
        /// Key of the tube.
        tube: String,
        /// How thick; at glaze depth if not said.
        build: Option<f64>,
    },
    /// Takes a film away.
    TakeFilm {
        /// From the bottom, from 0.
        film: usize,
    },
    /// Moves a film under or over its neighbour.
    MoveFilm {
        /// From the bottom, from 0.
        film: usize,
        /// Over, or under.
        over: bool,
    },
    /// Draws a film thinner or thicker.
    Build {
        /// From the bottom, from 0.
        film: usize,
        /// In units of the card's own film.
        build: f64,
        /// Whether it is still being pulled.
        pulling: bool,
    },
    /// Sets how many coats.
    Coats {
        /// From the bottom, from 0.
        film: usize,
        /// None to many.
        coats: u32,
    },
    /// Thins a film by a recipe.
    Thin {
        /// From the bottom, from 0.
        film: usize,
        /// Parts.
        thinning: Thinning,
    },
    /// Thins a film by a usual medium, or not at all any more.
    Medium {
        /// From the bottom, from 0.
        film: usize,
        /// Which; none to take it away.
        medium: Option<usize>,
    },
    /// Adds a typed colour.
    AddColour {
        /// Its name; numbered if empty.
        name: String,
        /// L*, a*, b*.
        lab: [f64; 3],
        /// Their standard deviations.
        lab_sd: [f64; 3],
        /// Its gloss.
        surface: Surface,
    },
    /// Adds a ladder of greys.
    AddLadder {
        /// How many.
        count: usize,
        /// L* of the first.
        light: f64,
        /// L* of the last.
        dark: f64,
    },
    /// Adds the masstone of a tube.
    AddMasstone {
        /// Key of the tube.
        tube: String,
    },
    /// Adds a colour picked from a scan or photo.
    AddPicked {
        /// Its name; numbered if empty.
        name: String,
        /// L*, a*, b*.
        lab: [f64; 3],
        /// Their standard deviations.
        lab_sd: [f64; 3],
        /// Its gloss.
        surface: Surface,
        /// File name.
        file: String,
        /// Its profile.
        profile: String,
        /// Whether it is a photo.
        photo: bool,
        /// Pixels averaged.
        pixels: u64,
    },
    /// Adds the colours that were painted into the squares of a printed card, in one step.
    AddFromCard {
        /// Number of the card.
        card: u32,
        /// The scan's file name.
        file: String,
        /// Its profile.
        profile: String,
        /// Whether a camera took it.
        photo: bool,
        /// Their gloss.
        surface: Surface,
        /// The colours.
        colours: Vec<CardColour>,
    },
    /// Keeps a painted patch: what was laid on it over which colour, and how it came out.
    AddPatch {
        /// Key of the one tube that was laid; empty for the films as they lie now.
        #[serde(default)]
        tube: String,
        /// How many coats of that tube.
        #[serde(default)]
        coats: u32,
        /// Over which colour; the chosen one without it.
        #[serde(default)]
        over: Option<usize>,
        /// L*, a*, b* of the dry patch.
        lab: [f64; 3],
        /// Their standard deviations.
        lab_sd: [f64; 3],
        /// Way of working.
        #[serde(default)]
        way: String,
        /// Its gloss.
        #[serde(default)]
        surface: Surface,
    },
    /// Takes a patch away.
    TakePatch {
        /// From 0.
        patch: usize,
    },
    /// Counts a film in coats as the painter's scraps show them.
    MyCoat {
        /// From the bottom, from 0.
        film: usize,
        /// Way of working.
        #[serde(default)]
        way: String,
    },
    /// Lets a tube scatter here as the painter's patches show, or again as its card says.
    Scatter {
        /// Key of the tube.
        tube: String,
        /// As patches show.
        as_painted: bool,
    },
    /// Names a colour.
    NameColour {
        /// Which.
        colour: usize,
        /// Its name.
        name: String,
    },
    /// Says how a colour's surface looks.
    Surface {
        /// Which.
        colour: usize,
        /// Its gloss.
        surface: Surface,
    },
    /// Says how well a colour is known that was not read from anything.
    Known {
        /// Which.
        colour: usize,
        /// Standard deviations of L*, a*, b*.
        lab_sd: [f64; 3],
    },
    /// Moves a colour one place.
    MoveColour {
        /// Which.
        colour: usize,
        /// Towards the end.
        later: bool,
    },
    /// Takes a colour away.
    TakeColour {
        /// Which.
        colour: usize,
    },
    /// Takes all colours away.
    ClearColours {},
}

/// A colour that was painted into a square of a printed card.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CardColour {
    /// L*, a*, b*.
    pub lab: [f64; 3],
    /// Their standard deviations.
    pub lab_sd: [f64; 3],
    /// Pixels averaged.
    pub pixels: u64,
}

fn none_such(what: &str) -> Error {
    Error::Refused(format!(
        "There is no such {what} any more. Choose one of those shown."
    ))
}

impl OpenPicture {
    /// Makes a change. A refused one leaves everything as it was.
    ///
    /// # Errors
    /// [`Error::Refused`] for something that is not there, [`Error::PictureFile`] for a value out of reach.
    pub fn change(&mut self, change: &Change) -> Result<()> {
        self.tell_patches();
        let mut plan = self.plan.clone();
        let (film, colour) = self.applied(&mut plan, change)?;
        plan.check().map_err(typed)?;
        let pulling = match change {
            Change::Build { film, pulling, .. } => pulling.then_some(*film),
            _ => None,
        };
        if plan == self.plan {
            // The last word of a pull often says what is there already.
            self.pulled = self.pulled.and(pulling);
            return Ok(());
        }
        // All of one pull is one step.
        let goes_on = match change {
            Change::Build { film, .. } => self.pulled == Some(*film),
            _ => false,
        };
        self.pulled = pulling;
        let before = std::mem::replace(&mut self.plan, plan);
        if !goes_on {
            self.past.push(before);
            if self.past.len() > MOST_STEPS {
                self.past.remove(0);
            }
        }
        self.future.clear();
        self.correct_tubes();
        self.choose_film(film);
        self.choose_colour(colour);
        Ok(())
    }

    /// Takes the last step back. Whether there was one.
    pub fn undo(&mut self) -> bool {
        self.step(true)
    }

    /// Takes a step again that was taken back. Whether there was one.
    pub fn redo(&mut self) -> bool {
        self.step(false)
    }

    fn step(&mut self, back: bool) -> bool {
        let from = if back {
            &mut self.past
        } else {
            &mut self.future
        };
        let Some(plan) = from.pop() else {
            return false;
        };
        let now = std::mem::replace(&mut self.plan, plan);
        let to = if back {
            &mut self.future
        } else {
            &mut self.past
        };
        to.push(now);
        self.pulled = None;
        self.correct_tubes();
        self.choose_film(self.film);
        self.choose_colour(self.colour);
        true
    }

    /// Turns to a film; the last if there are fewer.
    pub fn choose_film(&mut self, film: usize) {
        self.film = film.min(self.plan.films.len().saturating_sub(1));
    }

    /// Turns to a colour; the last if there are fewer.
    pub fn choose_colour(&mut self, colour: usize) {
        self.colour = colour.min(self.plan.colours.len().saturating_sub(1));
    }

    /// The plan with a change, and the film and colour to turn to.
    fn applied(&self, plan: &mut Plan, change: &Change) -> Result<(usize, usize)> {
        let (mut film_now, mut colour_now) = (self.film, self.colour);
        match change {
            Change::Name { name } => plan.name = name.trim().to_owned(),
            Change::Films { of } => plan.films = Plan::read(of)?.films,
            Change::Notes { notes } => plan.notes.clone_from(notes),
            Change::Lay { tube, build } => {
                let film = self.film_to_lay(tube, *build)?;
                plan.films.push(film);
                film_now = plan.films.len() - 1;
            }
            Change::LayAlone { tube, build } => {
                plan.films = vec![self.film_to_lay(tube, *build)?];
                film_now = 0;
            }
            Change::TakeFilm { film } => {
                film_at(plan, *film)?;
                plan.films.remove(*film);
                film_now = film_now.min(film.saturating_sub(1));
            }
            Change::MoveFilm { film, over } => {
                film_at(plan, *film)?;
                let to = if *over {
                    film + 1
                } else {
                    film.wrapping_sub(1)
                };
                film_at(plan, to)?;
                plan.films.swap(*film, to);
                film_now = to;
            }
            Change::Build { film, build, .. } => {
                let film = film_at(plan, *film)?;
                film.build = *build;
                film.build_log_sd = 0.0;
                film.way = None;
            }
            Change::MyCoat { film, way } => {
                let film = film_at(plan, *film)?;
                let Some(coat) = self.my_coat(&film.tube, way) else {
                    return Err(Error::Refused(format!(
                        "No patch of {} alone is kept yet. Paint one, let it dry, and say how it came out.",
                        film.name
                    )));
                };
                count_in(film, way, &coat);
            }
            Change::Scatter { tube, as_painted } => {
                plan.corrections.retain(|c| c.tube != *tube);
                if *as_painted {
                    let Some(learned) = self.learned(tube) else {
                        return Err(Error::Refused(
                            "No patch of this tube alone is kept yet. Paint one, let it dry, and say how it came out.".to_owned(),
                        ));
                    };
                    let [least, most] = SCATTER;
                    plan.corrections.push(Correction {
                        tube: tube.clone(),
                        scatter: learned.scatter.clamp(least, most),
                        scatter_log_sd: learned.scatter_log_sd,
                        unknown: Map::new(),
                    });
                }
            }
            Change::AddPatch {
                tube,
                coats,
                over,
                lab,
                lab_sd,
                way,
                surface,
            } => {
                let over = plan.colours.get(over.unwrap_or(self.colour)).cloned();
                let over = over.ok_or_else(|| none_such("colour"))?;
                let films = if !tube.is_empty() {
                    let mut film = self.film_to_lay(tube, None)?;
                    film.coats = (*coats).max(1);
                    vec![film]
                } else if self.laid().is_empty() {
                    return Err(Error::Refused(
                        "Say which tube you laid on this patch, or lay its films first.".to_owned(),
                    ));
                } else {
                    plan.films.clone()
                };
                let mut painted = colours::plain("painted", *lab, Source::Typed);
                painted.lab_sd = *lab_sd;
                painted.surface = *surface;
                plan.patches.push(Patch {
                    over,
                    films,
                    painted,
                    way: way.trim().to_owned(),
                    unknown: Map::new(),
                });
            }
            Change::TakePatch { patch } => {
                if *patch >= plan.patches.len() {
                    return Err(none_such("patch"));
                }
                plan.patches.remove(*patch);
            }
            Change::Coats { film, coats } => film_at(plan, *film)?.coats = *coats,
            Change::Thin { film, thinning } => {
                let film = film_at(plan, *film)?;
                film.thinning = thinning.clone();
                if thinning.is_none() {
                    film.medium.clear();
                }
            }
            Change::Medium { film, medium } => {
                let film = film_at(plan, *film)?;
                let medium = medium.and_then(|at| MEDIA.get(at));
                film.thinning = medium.map_or_else(Thinning::default, Medium::begin);
                film.medium = medium.map_or("", |medium| medium.key).to_owned();
            }
            Change::AddColour {
                name,
                lab,
                lab_sd,
                surface,
            } => {
                let mut colour = colours::plain(&named(plan, name), *lab, Source::Typed);
                colour.lab_sd = *lab_sd;
                colour.surface = *surface;
                plan.colours.push(colour);
                colour_now = plan.colours.len() - 1;
            }
            Change::AddLadder { count, light, dark } => {
                if !(2..=12).contains(count) {
                    return Err(Error::Refused(
                        "Choose 2 to 12 greys for a ladder.".to_owned(),
                    ));
                }
                let greys = colours::ladder(*count, *light, *dark, &plan.colours);
                plan.colours.extend(greys);
            }
            Change::AddMasstone { tube } => {
                plan.colours
                    .push(colours::masstone(self.known_tube(tube)?)?);
                colour_now = plan.colours.len() - 1;
            }
            Change::AddPicked {
                name,
                lab,
                lab_sd,
                surface,
                file,
                profile,
                photo,
                pixels,
            } => {
                let source = Source::Picked {
                    file: file.clone(),
                    profile: profile.clone(),
                    photo: *photo,
                    pixels: *pixels,
                    card: None,
                };
                let mut colour = colours::plain(&named(plan, name), *lab, source);
                colour.lab_sd = *lab_sd;
                colour.surface = *surface;
                plan.colours.push(colour);
                colour_now = plan.colours.len() - 1;
            }
            Change::AddFromCard {
                card,
                file,
                profile,
                photo,
                surface,
                colours: painted,
            } => {
                for (i, square) in painted.iter().enumerate() {
                    let source = Source::Picked {
                        file: file.clone(),
                        profile: profile.clone(),
                        photo: *photo,
                        pixels: square.pixels,
                        card: Some(*card),
                    };
                    let name = format!("card {card:04}, {}", i + 1);
                    let mut colour = colours::plain(&name, square.lab, source);
                    colour.lab_sd = square.lab_sd;
                    colour.surface = *surface;
                    plan.colours.push(colour);
                }
                colour_now = plan.colours.len().saturating_sub(1);
            }
            Change::NameColour { colour, name } => {
                colour_at(plan, *colour)?.name = name.trim().to_owned();
                colour_now = *colour;
            }
            Change::Surface { colour, surface } => {
                colour_at(plan, *colour)?.surface = *surface;
                colour_now = *colour;
            }
            Change::Known { colour, lab_sd } => {
                let of = colour_at(plan, *colour)?;
                // What was read says itself how surely.
                if colours::is_read(&of.source) {
                    return Err(none_such("choice"));
                }
                of.lab_sd = *lab_sd;
                colour_now = *colour;
            }
            Change::MoveColour { colour, later } => {
                let to = if *later {
                    colour + 1
                } else {
                    colour.wrapping_sub(1)
                };
                colour_at(plan, *colour)?;
                colour_at(plan, to)?;
                plan.colours.swap(*colour, to);
                colour_now = to;
            }
            Change::TakeColour { colour } => {
                colour_at(plan, *colour)?;
                plan.colours.remove(*colour);
            }
            Change::ClearColours {} => plan.colours.clear(),
        }
        Ok((film_now, colour_now))
    }

    /// One coat of a tube, of a build or as thick as its glaze depth; a coat of the painter's own as soon as one is known.
    fn film_to_lay(&self, tube: &str, build: Option<f64>) -> Result<PlannedFilm> {
        let tube = self.known_tube(tube)?;
        let mut film = film_of(tube, build.unwrap_or(tube.depth.build));
        let known = self.coats_by_way(&tube.key).into_iter().next();
        if let (None, Some((way, coat))) = (build, known) {
            count_in(&mut film, way, &coat);
        }
        Ok(film)
    }
}

/// A value out of reach, in the words of the one who typed it: no saved picture is at fault, and no place in one.
fn typed(error: Error) -> Error {
    match error {
        Error::PictureFile { field, reason } => {
            let field = field.rsplit(['.', ':']).next().unwrap_or_default().trim();
            let (first, rest) = field.split_at_checked(1).unwrap_or_default();
            // a* and b* are never written large, and a sentence does not begin with them.
            let first = match field {
                "a*" | "b*" => format!("The {first}"),
                _ => first.to_ascii_uppercase(),
            };
            Error::Refused(format!("{first}{rest} {reason}."))
        }
        error => error,
    }
}

/// A name as typed, or the next number.
fn named(plan: &Plan, name: &str) -> String {
    match name.trim() {
        "" => format!("colour {}", plan.colours.len() + 1),
        name => name.to_owned(),
    }
}

fn film_of(tube: &Tube, build: f64) -> PlannedFilm {
    PlannedFilm {
        tube: tube.key.clone(),
        name: tube.name().to_owned(),
        build,
        coats: 1,
        build_log_sd: 0.0,
        way: None,
        thinning: Thinning::default(),
        medium: String::new(),
        unknown: Map::new(),
    }
}

/// Counts a film in the painter's own coats.
fn count_in(film: &mut PlannedFilm, way: &str, coat: &Coat) {
    film.build = coat.build;
    film.build_log_sd = coat.log_sd;
    film.way = Some(way.trim().to_owned());
}

fn film_at(plan: &mut Plan, film: usize) -> Result<&mut PlannedFilm> {
    plan.films.get_mut(film).ok_or_else(|| none_such("film"))
}

fn colour_at(plan: &mut Plan, colour: usize) -> Result<&mut crate::picture::plan::Colour> {
    plan.colours
        .get_mut(colour)
        .ok_or_else(|| none_such("colour"))
}
