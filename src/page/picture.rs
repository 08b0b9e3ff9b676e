//! The open picture: every change of it, undo, and what the page shows.

mod change;
mod colours;
mod films;
mod glass;
mod held;
mod mixed;
mod notes;
mod patches;
mod pick;
mod plan_films;
mod steps;
mod tints;
mod tubes;
mod view;
mod wanted;
mod words;

use crate::{
    Error, Result, chart,
    page::{glaze::UNDERPAINTING, shelf},
    paint::{Constants, Record, file::Scrap},
    picture::{
        Film, Ground, Kept,
        coat::{self, Told},
        depth::Depth,
        mean,
        plan::{Colour, Patch, Plan, PlannedFilm, Source},
        readings,
    },
    spectrum::BANDS,
};

pub use change::Change;
pub use glass::{GlassSpot, GlassView, OpenGlass, Window};
pub use held::Held;
pub use mixed::{MixView, Part};
pub use pick::{PickFrom, PickView};
pub use tints::NewTint;
pub use tubes::TubesView;
pub use view::PictureView;
pub use wanted::{GreysView, WantedView, Way};

/// Keys of sample tubes begin so (www/screens/picture.js).
const SAMPLE: &str = "sample-";

/// Steps that can be taken back.
const MOST_STEPS: usize = 200;

/// A picture on the page, with the tubes that can be laid on it.
pub struct OpenPicture {
    plan: Plan,
    past: Vec<Plan>,
    future: Vec<Plan>,
    /// The film that is being pulled: all of one pull is one step.
    pulled: Option<usize>,
    tubes: Vec<Tube>,
    kept: Kept,
    /// What every patch tells of a coat, kept from view to view.
    told: Vec<(Patch, Option<Told>)>,
    /// Grounds of the colours, kept from view to view.
    grounds: Vec<(Colour, Ground)>,
    film: usize,
    colour: usize,
}

/// A tube that predicts.
struct Tube {
    key: String,
    text: String,
    record: Record,
    /// As its card says alone.
    alone: Constants,
    /// As its card says, and all others of the same tube.
    on_card: Constants,
    /// Readings of the same tube, itself too: their places.
    readings: Vec<usize>,
    /// Which of them are in the mean.
    taken: Vec<usize>,
    /// Which of them is the odd one out.
    odd: Option<usize>,
    /// How many of them are read from the scan of another one.
    repeats: usize,
    /// Its card's record, as it is shown: several readings as their mean.
    shown: Record,
    /// As it is in this picture.
    constants: Constants,
    /// By which correction that is, once it is known: how many times as much it scatters, if not as on its card.
    corrected: Option<Option<f64>>,
    depth: Depth,
    /// What each scrap that is kept with it tells of a coat.
    told: Vec<Option<Told>>,
}

impl Tube {
    /// Brings what its scraps tell up to date with its constants.
    fn tell(&mut self) {
        let scraps = self.record.coats.iter();
        self.told = scraps
            .map(|scrap| coat::told_by(&self.constants, &self.record, scrap))
            .collect();
    }

    /// Whether this scrap is kept with it.
    fn has(&self, scrap: &Scrap) -> bool {
        let mut kept = self.record.coats.iter();
        kept.any(|of| coat::same_scrap(of, scrap))
    }

    fn name(&self) -> &str {
        self.record.paint.name_or_unnamed()
    }

    /// Builds of its card's films.
    fn marks(&self) -> Vec<f64> {
        self.record.films.iter().map(|film| film.build).collect()
    }

    /// Least and most build that a film of it now so thick can be pulled to.
    fn pull(&self, build: f64) -> [f64; 2] {
        let [least, most] = chart::strip_span(&self.marks());
        let depth = self.depth.build;
        [
            least.min(0.3 * depth).min(build).max(0.005),
            most.max(build).max(1.5 * depth).min(view::MOST_PULL),
        ]
    }
}

impl OpenPicture {
    /// A new picture of this name: seven greys and two flesh tones.
    pub fn new(name: &str) -> Self {
        let colours = UNDERPAINTING
            .iter()
            .map(|(name, lab)| colours::plain(name, *lab, Source::Given))
            .collect();
        Self::of(Plan::new(name, colours))
    }

    /// A saved picture.
    ///
    /// # Errors
    /// [`Error::PictureFile`].
    pub fn read(text: &str) -> Result<Self> {
        Ok(Self::of(Plan::read(text)?))
    }

    fn of(plan: Plan) -> Self {
        Self {
            film: plan.films.len().saturating_sub(1),
            plan,
            past: Vec::new(),
            future: Vec::new(),
            pulled: None,
            tubes: Vec::new(),
            kept: Kept::default(),
            told: Vec::new(),
            grounds: Vec::new(),
            colour: 0,
        }
    }

    /// The text to be saved.
    pub fn write(&self) -> String {
        self.plan.write()
    }

    /// The tubes at hand: a key and the text of the pigment file of each. Those that do not predict are passed over.
    ///
    /// # Errors
    /// For a text that is no pigment file.
    pub fn use_tubes(&mut self, tubes: Vec<(String, String)>) -> Result<()> {
        let mut old = std::mem::take(&mut self.tubes);
        // What was prepared belongs to the old list.
        self.kept = Kept::default();
        self.told.clear();
        for (key, text) in tubes {
            if let Some(at) = old.iter().position(|t| t.key == key && t.text == text) {
                self.tubes.push(old.swap_remove(at));
                continue;
            }
            let record = Record::read(&text)?;
            let Ok(constants) = record.constants() else {
                continue;
            };
            let mut tube = Tube {
                depth: Depth::of(&constants, record.thickest()),
                key,
                text,
                alone: constants.clone(),
                on_card: constants.clone(),
                readings: Vec::new(),
                taken: Vec::new(),
                odd: None,
                repeats: 0,
                shown: record.clone(),
                constants,
                corrected: None,
                record,
                told: Vec::new(),
            };
            tube.tell();
            self.tubes.push(tube);
        }
        self.join_readings()?;
        self.correct_tubes();
        Ok(())
    }

    /// Readings of one tube become one paint, each in films of its own card, the odd one out left out.
    fn join_readings(&mut self) -> Result<()> {
        let named: Vec<_> = self
            .tubes
            .iter()
            .map(|tube| shelf::tube_of(&tube.record.paint))
            .collect();
        for i in 0..self.tubes.len() {
            let same = |j: &usize| *j == i || named[i].is_some() && named[*j] == named[i];
            let all: Vec<usize> = (0..self.tubes.len()).filter(same).collect();
            // Readings of the painter's own stand for a sample of that name too, but the sample is nobody's reading of a tube.
            let is_own = |j: &usize| !self.tubes[*j].key.starts_with(SAMPLE);
            let own: Vec<usize> = all.iter().copied().filter(is_own).collect();
            let readings = if own.is_empty() { all } else { own };
            // The first of them has found out.
            let first = readings[0];
            let (taken, odd, repeats) = if first < i {
                let first = &self.tubes[first];
                (first.taken.clone(), first.odd, first.repeats)
            } else {
                let all: Vec<(&Record, &Constants, Depth)> = readings
                    .iter()
                    .map(|&j| &self.tubes[j])
                    .map(|tube| {
                        let thickest = tube.record.thickest();
                        let depth = Depth::of(&tube.alone, thickest);
                        (&tube.record, &tube.alone, depth)
                    })
                    .collect();
                let alike = readings::alike(&all)?;
                (
                    alike.taken.iter().map(|&at| readings[at]).collect(),
                    alike.odd.map(|at| readings[at]),
                    alike.repeats.len(),
                )
            };
            let several = readings != [i];
            let on_card = if several {
                let alike: Vec<&Constants> = taken.iter().map(|&j| &self.tubes[j].alone).collect();
                mean::mean(&self.tubes[i].alone, &alike)
            } else {
                self.tubes[i].alone.clone()
            };
            let tube = &mut self.tubes[i];
            tube.shown = if several {
                shelf::as_mean(&tube.record, &on_card)
            } else {
                tube.record.clone()
            };
            tube.on_card = on_card;
            tube.corrected = None;
            tube.readings = readings;
            tube.taken = taken;
            tube.odd = odd;
            tube.repeats = repeats;
        }
        Ok(())
    }

    /// Tubes to choose from, with their places: of several readings of one, the first that is in their mean.
    fn to_choose(&self) -> impl Iterator<Item = (usize, &Tube)> {
        let all = self.tubes.iter().enumerate();
        all.filter(|(i, tube)| tube.taken.first() == Some(i))
    }

    /// Brings the tubes up to date with the plan's corrections.
    fn correct_tubes(&mut self) {
        for tube in &mut self.tubes {
            let corrected = self.plan.corrections.iter().find(|c| c.tube == tube.key);
            let scatter = corrected.map(|correction| correction.scatter);
            // Every change of a picture comes by here, and constants with their covariance are long.
            if tube.corrected == Some(scatter) {
                continue;
            }
            tube.corrected = Some(scatter);
            let constants = match scatter {
                Some(scatter) => tube.on_card.scattering_times(scatter),
                None => tube.on_card.clone(),
            };
            if constants != tube.constants {
                tube.depth = Depth::of(&constants, tube.record.thickest());
                tube.constants = constants;
                tube.tell();
                // What was prepared belongs to the tube as it was.
                self.kept = Kept::default();
                self.told.clear();
            }
        }
    }

    fn tube(&self, key: &str) -> Option<&Tube> {
        self.tubes.iter().find(|tube| tube.key == key)
    }

    fn known_tube(&self, key: &str) -> Result<&Tube> {
        self.tube(key).ok_or_else(|| {
            Error::Refused("This tube is no longer kept. Choose another.".to_owned())
        })
    }

    /// The films that can be predicted, each with its place in the plan.
    fn laid(&self) -> Vec<(usize, Film)> {
        self.plan
            .films
            .iter()
            .enumerate()
            .filter_map(|(at, film)| {
                let paint = self.tubes.iter().position(|tube| tube.key == film.tube)?;
                let build = film.whole_build();
                (build > 0.0).then_some((at, Film { paint, build }))
            })
            .collect()
    }

    /// How well the builds of these films are known: standard deviations of their logarithms.
    fn laid_sd(&self) -> Vec<f64> {
        let laid = self.laid().into_iter();
        laid.map(|(at, _)| self.plan.films[at].build_log_sd)
            .collect()
    }

    fn chosen_film(&self) -> Option<&PlannedFilm> {
        self.plan.films.get(self.film)
    }

    /// Brings the grounds up to date with the colours.
    fn ground_all(&mut self) {
        let mut old = std::mem::take(&mut self.grounds);
        for colour in &self.plan.colours {
            let known = old.iter().position(|(of, _)| {
                of.lab == colour.lab
                    && of.lab_sd == colour.lab_sd
                    && of.surface == colour.surface
                    && of.spectrum == colour.spectrum
            });
            let ground = match known {
                Some(at) => old.swap_remove(at).1,
                None => Ground::measured(&colour.measured(&mut [0.0; BANDS])),
            };
            self.grounds.push((colour.clone(), ground));
        }
    }
}

#[cfg(test)]
mod tests;
