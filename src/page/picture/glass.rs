//! The painting under glass: a photo or scan of it, the areas that films lie on, and what the page shows of them.

use std::{collections::BTreeMap, sync::Arc};

use nalgebra::Matrix3;
use serde::{Deserialize, Serialize};

use super::{
    OpenPicture,
    plan_films::key_of,
    steps::{State, Steps},
    words,
};
use crate::{
    Error, Result,
    colour::{self, Lab, ScreenSpace},
    fit::uncertainty,
    glass::{
        Painting,
        grounds::Grounds,
        light::{self, Known, Light, Signs, Taken},
        mask::{Mask, Run, Way},
        painting::{self, linear_of},
        plain, strip,
        table::{Shared, shares},
    },
    page::{Tone, difference_word},
    paint::{Constants, file::Surface, verdict},
    picture::{Film, Ground, ground::Measured, plan::Plan},
    scan::{Origin, decode},
};

/// Most places along a mask's longer side.
pub(super) const MASK: usize = 1400;
/// Most areas.
pub(super) const MOST_AREAS: usize = 8;
/// Ratio by which places of known colour may contradict each other before it is said (ours).
const UNLIKE: f64 = 1.12;

/// A painting with the films of a picture on it.
pub struct OpenGlass {
    pub(super) origin: Origin,
    /// Pixels of the painting that this is a reduced copy of.
    pub(super) reduced_from: Option<[usize; 2]>,
    pub(super) painting: Painting,
    /// Small enough for masks and for a first look.
    pub(super) copy: Painting,
    /// Lab of the copy, for growing by colour.
    labs: Vec<[f32; 3]>,
    pub(super) taken: Taken,
    pub(super) surface: Surface,
    pub(super) known: Vec<Known>,
    pub(super) light: Light,
    signs: Signs,
    /// A few nodes, to choose shares of the build on.
    grounds: Grounds,
    space: ScreenSpace,
    picture: OpenPicture,
    pub(super) areas: Vec<Area>,
    pub(super) area: usize,
    pub(super) steps: Steps,
    /// Before a step that is not ended yet.
    pub(super) before: Option<Before>,
}

/// How it all was before a step.
pub(super) struct Before {
    state: State,
    area: usize,
    /// Whether the step changes films; otherwise it is a stroke.
    films: bool,
}

/// An area and what of the picture's films lies there.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Area {
    pub(super) name: String,
    /// The whole picture without a mask.
    pub(super) mask: Option<Arc<Mask>>,
    pub(super) run: Option<Run>,
    /// Builds of its own, by film; 0 where a film does not lie here.
    pub(super) own: BTreeMap<String, f64>,
}

/// What part of the painting is shown, and how large.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize, Serialize)]
pub struct Window {
    /// Pixel of the painting at the left edge.
    pub left: f64,
    /// At the upper edge.
    pub top: f64,
    /// Pixels of the painting for one of the screen.
    pub scale: f64,
    /// Pixels of the screen across.
    pub width: usize,
    /// And down.
    pub height: usize,
}

/// Everything that the page shows beside the painting.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GlassView {
    /// Pixels across.
    pub width: usize,
    /// Pixels down.
    pub height: usize,
    /// File name, size and profile, in words.
    pub file: String,
    /// What is assumed, and what is odd.
    pub notes: Vec<String>,
    /// `photo` or `scan`.
    pub taken: Taken,
    /// The painting's gloss.
    pub surface: Surface,
    /// Places of known colour.
    pub known: Vec<KnownView>,
    /// Areas in the order that they are laid.
    pub areas: Vec<AreaView>,
    /// The chosen one.
    pub area: usize,
    /// Films of the picture in the chosen area, the lowest first.
    pub films: Vec<FilmHere>,
    /// Whether there is a step to take back.
    pub undo: bool,
    /// Whether there is one to take again.
    pub redo: bool,
}

/// A place of known colour.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KnownView {
    /// Pixel of the painting.
    pub at: [f64; 2],
    /// L*, a*, b*.
    pub lab: [f64; 3],
}

/// One area.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AreaView {
    /// Its name.
    pub name: String,
    /// Whether it is the whole picture.
    pub whole: bool,
    /// Whether nothing of it is left.
    pub empty: bool,
    /// Where its films run out: pixels of the painting from and to.
    pub run: Option<[[f64; 2]; 2]>,
}

/// A film in an area.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FilmHere {
    /// Its name.
    pub name: String,
    /// One coat here, in the card's own films.
    pub build: f64,
    /// Coats, as planned.
    pub coats: u32,
    /// Whether it lies here.
    pub here: bool,
    /// Whether it is as thick as planned.
    pub planned: bool,
    /// Whether its tube is not at hand.
    pub missing: bool,
    /// The film over white.
    pub tone: Option<Tone>,
    /// Least and most build.
    pub pull: [f64; 2],
    /// Builds of the card's films.
    pub marks: Vec<f64>,
}

/// The colour under a place, before and after.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GlassSpot {
    /// Pixel of the painting.
    pub at: [f64; 2],
    /// As the picture has it.
    pub before: Tone,
    /// Under the films.
    pub after: Tone,
    /// `darker and warmer`.
    pub change: String,
    /// Why it counts as glaze, veil or covering; empty without films.
    pub reason: String,
    /// CIEDE2000 that holds nine times in ten.
    pub range: f64,
    /// That in words.
    pub word: &'static str,
    /// The range, and what the camera or scanner has of it.
    pub range_words: String,
    /// What spoils it; empty where nothing does.
    pub trouble: String,
    /// Where the bare colour is from, to take it as underpainting.
    pub bare: BareSpot,
}

/// What is known of a bare colour besides itself.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BareSpot {
    /// Standard deviations of L*, a*, b*.
    pub lab_sd: [f64; 3],
    /// File name.
    pub file: String,
    /// Its profile.
    pub profile: String,
    /// Whether it is a photo.
    pub photo: bool,
    /// Pixels averaged.
    pub pixels: u64,
    /// Gloss of the dry painting.
    pub surface: Surface,
}

fn thin_enough(build: f64) -> Result<()> {
    if (0.0..=super::view::MOST_PULL).contains(&build) {
        return Ok(());
    }
    Err(Error::Refused(
        "A film cannot be as thick as that. Pull it thinner.".into(),
    ))
}

fn no_area() -> Error {
    Error::Refused("There is no such area any more. Choose one of those shown.".into())
}

impl OpenGlass {
    /// Decodes a picture of the painting. `wide` says that the screen shows Display-P3.
    ///
    /// # Errors
    /// As [`decode::decode`], and above 60 megapixels.
    pub fn new(bytes: &[u8], file_name: &str, wide: bool) -> Result<Self> {
        let scan = decode::decode(bytes, file_name).map_err(|error| match error {
            Error::TooLarge { megapixels, .. } => painting::too_large(megapixels),
            other => other,
        })?;
        let origin = scan.origin.clone();
        let painting = Painting::of(scan)?;
        let copy = painting.reduced(MASK);
        let taken = if origin.lossy {
            Taken::Photo
        } else {
            Taken::Scan
        };
        let mut open = Self {
            signs: light::signs(&copy),
            grounds: Grounds::new(&painting.to_xyz, Surface::Glossy),
            labs: Vec::new(),
            light: Light::default(),
            known: Vec::new(),
            surface: Surface::Glossy,
            space: if wide {
                ScreenSpace::DisplayP3
            } else {
                ScreenSpace::Srgb
            },
            picture: OpenPicture::new(""),
            areas: vec![Area::named(0)],
            area: 0,
            steps: Steps::default(),
            before: None,
            origin,
            reduced_from: None,
            painting,
            copy,
            taken,
        };
        open.see_copy();
        Ok(open)
    }

    /// Lab of the copy in the light as it is now.
    pub(super) fn see_copy(&mut self) {
        let matrix = self.matrix();
        let (width, height) = (self.copy.width, self.copy.height);
        let levelled = self.light.is_levelled();
        self.labs = self
            .copy
            .codes
            .as_chunks::<3>()
            .0
            .iter()
            .enumerate()
            .map(|(i, code)| {
                let code = if levelled {
                    let at = [
                        ((i % width) as f64 + 0.5) / width as f64,
                        ((i / width) as f64 + 0.5) / height as f64,
                    ];
                    self.light.level(*code, at)
                } else {
                    *code
                };
                let lab = colour::lab(Painting::xyz(&matrix, code));
                [lab.l as f32, lab.a as f32, lab.b as f32]
            })
            .collect();
    }

    /// Rows X, Y, Z of what [`Window`]s hold, with exposure and white.
    pub fn matrix(&self) -> [[f64; 3]; 3] {
        self.light.matrix(&self.painting.to_xyz)
    }

    /// The painting's gloss.
    pub fn surface(&self) -> Surface {
        self.surface
    }

    /// What the screen counts its colours in.
    pub fn space(&self) -> ScreenSpace {
        self.space
    }

    /// Takes up the picture's films and the tubes at hand.
    ///
    /// # Errors
    /// For texts that are no picture and no pigment files.
    pub fn use_picture(&mut self, text: &str, tubes: Option<Vec<(String, String)>>) -> Result<()> {
        let plan = Plan::read(text)?;
        // The first films are those that the painting is opened with.
        let opened = self.picture.plan.films.is_empty() && self.picture.tubes.is_empty();
        self.begin(true);
        self.picture.plan = plan;
        if opened {
            self.before = None;
        }
        self.end();
        if let Some(tubes) = tubes {
            self.picture.use_tubes(tubes)?;
        }
        Ok(())
    }

    /// How the picture was made, and the painting's gloss.
    pub fn describe(&mut self, taken: Taken, surface: Surface) {
        self.taken = taken;
        self.surface = surface;
        self.grounds = Grounds::new(&self.matrix(), surface);
    }

    /// Says that the place at this pixel has a known colour.
    ///
    /// # Errors
    /// [`Error::Refused`] beside the picture and where that cannot be.
    pub fn know(&mut self, [x, y]: [f64; 2], radius: f64, lab: [f64; 3]) -> Result<()> {
        if !(0.0..=100.0).contains(&lab[0]) || lab[1..].iter().any(|v| v.abs() > 150.0) {
            return Err(Error::Refused(
                "Give L* from 0 to 100, and a* and b* from −150 to 150.".into(),
            ));
        }
        let seen = light::average(&self.painting, [x, y], radius)
            .ok_or_else(|| Error::Refused("Pick a place inside the picture.".into()))?;
        let mut known = self.known.clone();
        known.push(Known {
            at: [
                x / self.painting.width as f64,
                y / self.painting.height as f64,
            ],
            lab,
            linear: seen.linear,
        });
        self.set_known(known)
    }

    /// Forgets a place of known colour.
    ///
    /// # Errors
    /// Where the others do not agree with any light.
    pub fn forget(&mut self, place: usize) -> Result<()> {
        let mut known = self.known.clone();
        if place < known.len() {
            known.remove(place);
        }
        self.set_known(known)
    }

    fn set_known(&mut self, known: Vec<Known>) -> Result<()> {
        let light = Light::of(&known, &self.painting.to_xyz)?;
        self.end();
        self.begin(false);
        self.shine(known, light);
        self.end();
        Ok(())
    }

    /// The picture in this light.
    fn shine(&mut self, known: Vec<Known>, light: Light) {
        self.light = light;
        self.known = known;
        self.grounds = Grounds::new(&self.matrix(), self.surface);
        self.see_copy();
    }

    // Steps.

    pub(super) fn state(&self) -> State {
        State {
            areas: self.areas.clone(),
            films: self.picture.plan.films.clone(),
            known: self.known.clone(),
        }
    }

    /// What follows is one step, together with what was begun of the same kind.
    fn begin(&mut self, films: bool) {
        if self.before.as_ref().is_some_and(|now| now.films == films) {
            return;
        }
        self.end();
        self.before = Some(Before {
            state: self.state(),
            area: self.area,
            films,
        });
    }

    /// Ends a step: a stroke, or the pull of a film.
    pub fn end(&mut self) {
        if let Some(Before { state, area, .. }) = self.before.take() {
            self.steps.note(&state, &self.state(), [area, self.area]);
        }
    }

    /// Takes a step back, or again. The picture as it is then, where its own films are others.
    ///
    /// # Errors
    /// Never: places of known colour that made a light once make it again.
    pub fn step(&mut self, back: bool) -> Result<Option<String>> {
        self.end();
        let was = self.state();
        let size = [self.copy.width, self.copy.height];
        let Some((now, area)) = self.steps.step(back, &was, size) else {
            return Ok(None);
        };
        self.areas = now.areas;
        self.area = area.min(self.areas.len() - 1);
        if now.known != was.known {
            let light = Light::of(&now.known, &self.painting.to_xyz)?;
            self.shine(now.known, light);
        }
        let others = now.films != was.films;
        self.picture.plan.films = now.films;
        Ok(others.then(|| self.picture.plan.write()))
    }

    // Areas.

    /// Turns to an area.
    pub fn choose_area(&mut self, area: usize) {
        self.end();
        self.area = area.min(self.areas.len() - 1);
    }

    /// Adds an area with nothing in it yet, and turns to it.
    ///
    /// # Errors
    /// [`Error::Refused`] when there are too many.
    pub fn add_area(&mut self) -> Result<()> {
        if self.areas.len() >= MOST_AREAS {
            return Err(Error::Refused(format!(
                "There are {MOST_AREAS} areas already. Take one away first."
            )));
        }
        self.end();
        self.begin(false);
        let mut area = Area::named(self.areas.len());
        area.mask = Some(self.even(0));
        self.areas.push(area);
        self.area = self.areas.len() - 1;
        self.end();
        Ok(())
    }

    /// Takes the chosen area away; the last one becomes the whole picture instead.
    pub fn take_area(&mut self) {
        self.end();
        self.begin(false);
        self.areas.remove(self.area);
        if self.areas.is_empty() {
            self.areas.push(Area::named(0));
        }
        for (i, area) in self.areas.iter_mut().enumerate() {
            area.name = Area::named(i).name;
        }
        self.choose_area(self.area);
        self.end();
    }

    /// Lets a film lie in the chosen area or not; as thick as planned, or with a build of its own. Until [`Self::end`] all of it is
    /// one step.
    ///
    /// # Errors
    /// [`Error::Refused`] for a build that cannot be.
    pub fn set_film(&mut self, film: usize, build: Option<f64>) -> Result<()> {
        thin_enough(build.unwrap_or(0.0))?;
        let key = key_of(&self.picture.plan, film).ok_or_else(no_area)?;
        self.begin(true);
        match build {
            Some(build) => self.areas[self.area].own.insert(key, build),
            None => self.areas[self.area].own.remove(&key),
        };
        Ok(())
    }

    /// A film of the picture itself at another build, while it is pulled.
    ///
    /// # Errors
    /// For a film that is not there or a build out of reach.
    pub fn plan_build(&mut self, film: usize, build: f64) -> Result<()> {
        thin_enough(build)?;
        self.begin(true);
        // Not as a change of the picture: all that hangs on it there waits until the film is let go.
        let film = self.picture.plan.films.get_mut(film).ok_or_else(no_area)?;
        film.build = build;
        Ok(())
    }

    fn films(&self, area: usize) -> Vec<Film> {
        let Some(area) = self.areas.get(area) else {
            return Vec::new();
        };
        let plan = &self.picture.plan;
        (0..plan.films.len())
            .filter_map(|at| {
                let film = &plan.films[at];
                let tube = self.picture.tubes.iter();
                let paint = tube.clone().position(|t| t.key == film.tube)?;
                let own = key_of(plan, at).and_then(|key| area.own.get(&key));
                let build = own.map_or_else(
                    || film.whole_build(),
                    |own| own * film.thinning.share() * f64::from(film.coats),
                );
                (build > 0.0).then_some(Film { paint, build })
            })
            .collect()
    }

    /// The films of an area as [`crate::glass::Strip::lay`] takes them; empty without films.
    ///
    /// # Errors
    /// Where a film cannot be predicted.
    pub fn laid(&mut self, area: usize, rough: bool) -> Result<Vec<f64>> {
        let films = self.films(area);
        if films.is_empty() {
            return Ok(Vec::new());
        }
        let at = &self.areas[area];
        let shared = match (at.mask.is_none() && at.run.is_none(), rough) {
            (true, _) => Shared::No,
            (_, true) => Shared::Rough,
            (_, false) => Shared::Fine,
        };
        let OpenPicture { kept, tubes, .. } = &mut self.picture;
        let paints: Vec<&Constants> = tubes.iter().map(|t| &t.constants).collect();
        let found = shares(&self.grounds, self.space, shared, &mut |share| {
            Ok(*kept
                .responses(&paints, &plain::thinned(&films, share))?
                .bands())
        })?;
        Ok(strip::pack(&found))
    }

    // Masks.

    /// Mask places for one pixel of the painting.
    fn ratio(&self) -> f64 {
        self.copy.width as f64 / self.painting.width as f64
    }

    fn places(&self, at: [f64; 2]) -> [f64; 2] {
        at.map(|v| v * self.ratio())
    }

    fn even(&self, value: u8) -> Arc<Mask> {
        Arc::new(Mask::new(self.copy.width, self.copy.height, value))
    }

    /// The chosen area's mask, to be drawn on. The whole picture becomes an area: empty if something is to be added, full if
    /// something is to be taken away.
    fn drawn_on(&mut self, way: Way) -> &mut Mask {
        self.begin(false);
        let even = self.even(if way == Way::Add { 0 } else { 255 });
        Arc::make_mut(self.areas[self.area].mask.get_or_insert(even))
    }

    /// Begins a stroke on the chosen area: all until [`Self::end`] is one step.
    pub fn begin_stroke(&mut self, way: Way) {
        self.end();
        self.drawn_on(way);
    }

    /// Draws the brush on; pixels of the painting.
    pub fn brush(&mut self, line: [[f64; 2]; 2], radius: f64, soft: f64, strength: f64, way: Way) {
        let line = line.map(|at| self.places(at));
        let radius = radius * self.ratio();
        self.drawn_on(way).brush(line, radius, soft, strength, way);
    }

    /// Adds or removes the inside of an outline; pixels of the painting.
    pub fn outline(&mut self, points: &[[f64; 2]], soft: f64, way: Way) {
        let points: Vec<[f64; 2]> = points.iter().map(|at| self.places(*at)).collect();
        let soft = soft * self.ratio();
        self.drawn_on(way).outline(&points, soft, way);
    }

    /// Adds or removes what is like the colour at a place and joined to it. Until [`Self::end`], another growing takes its place.
    pub fn grow(&mut self, at: [f64; 2], reach: f64, soft: f64, way: Way) {
        let from = self.places(at).map(|v| v.max(0.0) as usize);
        self.begin(false);
        if let Some(before) = &self.before {
            self.areas[self.area]
                .mask
                .clone_from(&before.state.areas[self.area].mask);
        }
        let labs = std::mem::take(&mut self.labs);
        self.drawn_on(way).grow(&labs, from, reach, soft, way);
        self.labs = labs;
    }

    /// Runs the edges of the chosen area out, or exchanges inside and outside.
    pub fn whole_mask(&mut self, soften: Option<f64>) {
        let ratio = self.ratio();
        self.end();
        self.begin(false);
        if let Some(mask) = self.areas[self.area].mask.as_mut().map(Arc::make_mut) {
            match soften {
                Some(by) => mask.soften(by * ratio),
                None => mask.turn_over(),
            }
        }
        self.end();
    }

    /// The chosen area is the whole picture again.
    pub fn whole(&mut self) {
        self.end();
        self.begin(false);
        self.areas[self.area].mask = None;
        self.areas[self.area].run = None;
        self.end();
    }

    /// Lets the chosen area's films run out between two pixels of the painting, or nowhere.
    pub fn run(&mut self, run: Option<[[f64; 2]; 2]>) {
        let size = [self.painting.width as f64, self.painting.height as f64];
        let share = |at: [f64; 2]| [at[0] / size[0], at[1] / size[1]];
        self.end();
        self.begin(false);
        self.areas[self.area].run = run.map(|[from, to]| Run {
            from: share(from),
            to: share(to),
        });
        self.end();
    }

    // Pixels.

    /// Codes of some rows of a window, three a pixel.
    pub fn codes(&self, window: &Window, rows: std::ops::Range<usize>) -> Vec<u16> {
        let shrunk = self.copy.width as f64 / self.painting.width as f64;
        // The small copy serves where the window is coarser than it.
        let (from, scale) = if window.scale * shrunk >= 1.0 {
            (&self.copy, shrunk)
        } else {
            (&self.painting, 1.0)
        };
        let step = window.scale * scale;
        let samples = (step.ceil() as usize).clamp(1, 3);
        let mut codes = Vec::with_capacity(3 * window.width * rows.len());
        let size = [self.painting.width as f64, self.painting.height as f64];
        for row in rows {
            let start = codes.len();
            for column in 0..window.width {
                let place = |along: usize, first: f64, sample: usize, most: usize| {
                    let inside = along as f64 + (sample as f64 + 0.5) / samples as f64;
                    ((first * scale + inside * step).max(0.0) as usize).min(most - 1)
                };
                if samples == 1 {
                    let x = place(column, window.left, 0, from.width);
                    let y = place(row, window.top, 0, from.height);
                    codes.extend(from.code(x, y));
                    continue;
                }
                let mut sum = [0.0; 3];
                for i in 0..samples * samples {
                    let x = place(column, window.left, i % samples, from.width);
                    let y = place(row, window.top, i / samples, from.height);
                    let code = from.code(x, y);
                    (0..3).for_each(|c| sum[c] += linear_of(code[c]));
                }
                let share = 1.0 / (samples * samples) as f64;
                codes.extend(sum.map(|v| crate::glass::painting::code_quick(v * share)));
            }
            if self.light.is_levelled() {
                let across =
                    [0.0, window.width as f64].map(|x| (window.left + x * window.scale) / size[0]);
                let y = (window.top + (row as f64 + 0.5) * window.scale) / size[1];
                self.light.level_row(&mut codes[start..], across, y);
            }
        }
        codes
    }

    /// How much of an area's films lies on the pixels of some rows of a window; nothing where it is all of them everywhere.
    pub fn shares(
        &self,
        window: &Window,
        area: usize,
        rows: std::ops::Range<usize>,
    ) -> Option<Vec<u8>> {
        let area = self.areas.get(area)?;
        if area.mask.is_none() && area.run.is_none() {
            return None;
        }
        let ratio = self.ratio();
        let size = [self.painting.width as f64, self.painting.height as f64];
        let mut shares = Vec::with_capacity(window.width * rows.len());
        for row in rows {
            let y = window.top + (row as f64 + 0.5) * window.scale;
            for column in 0..window.width {
                let x = window.left + (column as f64 + 0.5) * window.scale;
                shares.push(area.share_at([x, y], ratio, size) as u8);
            }
        }
        Some(shares)
    }

    /// All of the painting at the size of the small copy, which is what lost drawing is looked for on.
    pub fn small(&self) -> Window {
        Window {
            left: 0.0,
            top: 0.0,
            scale: 1.0 / self.ratio(),
            width: self.copy.width,
            height: self.copy.height,
        }
    }

    /// The colour around a pixel before and after, with its range.
    ///
    /// # Errors
    /// [`Error::Refused`] beside the picture.
    pub fn spot(&mut self, [x, y]: [f64; 2], radius: f64) -> Result<GlassSpot> {
        let seen = light::average(&self.painting, [x, y], radius)
            .ok_or_else(|| Error::Refused("Pick a place inside the picture.".into()))?;
        let size = [self.painting.width as f64, self.painting.height as f64];
        let code = seen.linear.map(crate::glass::painting::code_of);
        let code = self.light.level(code, [x / size[0], y / size[1]]);
        let lab = colour::lab(Painting::xyz(&self.matrix(), code));
        let sd = light::lab_sd(
            self.taken,
            &self.light,
            self.known.len(),
            self.origin.profile_assumed,
        );
        let ratio = self.ratio();
        let mut films = Vec::new();
        for area in 0..self.areas.len() {
            let share = self.areas[area].share_at([x, y], ratio, size) / 255.0;
            films.extend(plain::thinned(&self.films(area), share));
        }
        films.retain(|film| film.build > 0.0);
        let spread = Matrix3::from_diagonal(&sd.map(|sd| sd * sd).into());
        let OpenPicture { kept, tubes, .. } = &mut self.picture;
        let paints: Vec<&Constants> = tubes.iter().map(|t| &t.constants).collect();
        let stack = kept.stack(&paints, &films)?;
        let over = |spread: Matrix3<f64>| {
            let ground = Ground::measured(&Measured {
                lab,
                spread,
                surface: self.surface,
                spectrum: None,
            });
            (stack.over(&ground), stack.verdict_over(&ground))
        };
        let taken = match self.taken {
            Taken::Photo => "photo",
            Taken::Scan => "scan",
        };
        let (after, reason, range, range_words) = if films.is_empty() {
            let range = uncertainty::range(lab, &spread);
            let words = format!(
                "The {taken} shows this colour within {range:.1} CIEDE2000, nine times in ten."
            );
            (lab, String::new(), range, words)
        } else {
            let (with, here) = over(spread);
            let (without, _) = over(Matrix3::zeros());
            let words = format!(
                "Nine times in ten within {:.1} CIEDE2000: {}. Were this colour measured exactly and not from a {taken}, within {:.1}.",
                with.range,
                difference_word(with.range),
                without.range
            );
            let left = stack.range_left();
            let share = left / verdict::nominal_span();
            let reason = words::reason(here, lab, with.lab, with.range, left, share);
            (with.lab, reason, with.range, words)
        };
        let mut trouble = Vec::new();
        if seen.glare > 0.0 {
            trouble.push(format!(
                "{:.0} % of this spot is glare and left out.",
                (100.0 * seen.glare).max(1.0)
            ));
        }
        if seen.cut > 0.1 {
            trouble.push(
                "Part of this spot is as light or dark as the file can hold: its colour is cut."
                    .to_owned(),
            );
        }
        Ok(GlassSpot {
            at: [x, y],
            before: lab.into(),
            after: after.into(),
            change: if films.is_empty() {
                "bare".to_owned()
            } else {
                words::change(lab, after)
            },
            reason,
            range,
            word: difference_word(range),
            range_words,
            trouble: trouble.join(" "),
            bare: BareSpot {
                lab_sd: sd,
                file: self.origin.file_name.clone(),
                profile: self.origin.profile.clone(),
                photo: self.taken == Taken::Photo,
                pixels: seen.pixels as u64,
                surface: self.surface,
            },
        })
    }

    /// Everything that the page shows beside the painting.
    ///
    /// # Errors
    /// Where a film cannot be predicted.
    pub fn view(&mut self) -> Result<GlassView> {
        let size = [self.painting.width as f64, self.painting.height as f64];
        let [undo, redo] = self.steps.open();
        let megapixels = size[0] * size[1] / 1e6;
        Ok(GlassView {
            width: self.painting.width,
            height: self.painting.height,
            file: format!(
                "{}: {} × {} pixels ({megapixels:.1} megapixels), {} bits, {}",
                self.origin.file_name,
                self.painting.width,
                self.painting.height,
                self.origin.depth,
                self.origin.profile
            ),
            notes: self.notes(),
            taken: self.taken,
            surface: self.surface,
            known: self
                .known
                .iter()
                .map(|k| KnownView {
                    at: [k.at[0] * size[0], k.at[1] * size[1]],
                    lab: k.lab,
                })
                .collect(),
            areas: self
                .areas
                .iter()
                .map(|area| AreaView {
                    name: area.name.clone(),
                    whole: area.mask.is_none(),
                    empty: area
                        .mask
                        .as_ref()
                        .is_some_and(|mask| mask.values.iter().all(|v| *v == 0)),
                    run: area
                        .run
                        .map(|run| [run.from, run.to].map(|at| [at[0] * size[0], at[1] * size[1]])),
                })
                .collect(),
            area: self.area,
            films: self.films_here()?,
            // A step that is not ended yet can be taken back, too.
            undo: undo || self.before.is_some(),
            redo,
        })
    }

    fn films_here(&mut self) -> Result<Vec<FilmHere>> {
        let white = Ground::of(Lab::new(93.0, 0.0, 0.0));
        let mut films = Vec::new();
        for at in 0..self.picture.plan.films.len() {
            let film = self.picture.plan.films[at].clone();
            let own = key_of(&self.picture.plan, at)
                .and_then(|key| self.areas[self.area].own.get(&key))
                .copied();
            let tube = self.picture.tubes.iter().position(|t| t.key == film.tube);
            let build = own.filter(|b| *b > 0.0).unwrap_or(film.build);
            let mut here = FilmHere {
                name: film.name.clone(),
                build,
                coats: film.coats,
                here: own != Some(0.0),
                planned: own.is_none(),
                missing: tube.is_none(),
                tone: None,
                pull: [0.05, 4.0],
                marks: Vec::new(),
            };
            if let Some(paint) = tube {
                let OpenPicture { kept, tubes, .. } = &mut self.picture;
                here.name = tubes[paint].name().to_owned();
                here.marks = tubes[paint].marks();
                here.pull = tubes[paint].pull(build);
                let paints: Vec<&Constants> = tubes.iter().map(|t| &t.constants).collect();
                let build = build * film.thinning.share() * f64::from(film.coats.max(1));
                let alone = kept.responses(&paints, &[Film { paint, build }])?;
                here.tone = Some(alone.lab_over(&white).into());
            }
            films.push(here);
        }
        Ok(films)
    }

    fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        if let Some([width, height]) = self.reduced_from {
            notes.push(format!(
                "This is a reduced copy, {} × {} pixels of {width} × {height}: this computer had no room to hold the whole picture. Choose the same file again to have all of it; what you drew is taken up.",
                self.painting.width, self.painting.height
            ));
        }
        match (self.taken, self.known.len()) {
            (Taken::Photo, 0) => notes.push(
                "Exposure and white are as the camera set them, which nobody has checked, so ranges are wide. Pick a grey or white card in the picture, or any colour you have measured."
                    .to_owned(),
            ),
            (Taken::Scan, 0) => notes.push(
                "The scanner’s own white is taken for white. A grey or white card in the scan would make ranges narrower."
                    .to_owned(),
            ),
            (_, 1) => notes.push("Exposure and white are set by one picked place.".to_owned()),
            (_, n) => notes.push(format!("Exposure and white are set by {n} picked places.")),
        }
        if self.light.is_levelled() {
            notes.push(format!(
                "Light that falls off across the picture is levelled, by {:.0} % from corner to corner.",
                100.0 * (self.light.falls_off() - 1.0)
            ));
        }
        if self.taken == Taken::Photo && self.light.unchecked > 0.0 {
            notes.push(
                "So few picked places cannot tell light that falls off from contrasts that the camera changed by itself (tone mapping), so ranges are wider. Pick a light and a dark one close together as well, and a contradiction will be seen."
                    .to_owned(),
            );
        }
        if self.light.unlike > UNLIKE {
            notes.push(format!(
                "The picked places contradict each other by a factor of {:.2}: the light is patchy, or the camera changed contrasts by itself (tone mapping). Ranges are wider for it.",
                self.light.unlike
            ));
        } else if self.taken == Taken::Photo && self.known.len() < 2 {
            notes.push(
                "Phones brighten shadows by themselves, which one picked place cannot show. Pick a light and a dark one close together, as on a card of greys, and a contradiction will be seen."
                    .to_owned(),
            );
        }
        if self.origin.profile_assumed {
            notes.push(
                "The file has no usable colour profile; sRGB is assumed, so ranges are wider."
                    .to_owned(),
            );
        }
        if self.signs.glare > 1e-5 {
            notes.push(
                "Small spots are white to the end: probably glare of a lamp on gloss. They are left out of averages; what is shown on them is no glaze."
                    .to_owned(),
            );
        }
        if self.signs.cut_light - self.signs.glare > 0.01 {
            notes.push(format!(
                "On {:.0} % of the picture a channel is cut at the light end: its colour is not known there. Photograph it darker.",
                100.0 * self.signs.cut_light
            ));
        }
        if self.signs.cut_dark > 0.01 {
            notes.push(format!(
                "{:.0} % of the picture is black to the end: what is drawn there is not known.",
                100.0 * self.signs.cut_dark
            ));
        }
        notes.extend(self.origin.notes.iter().cloned());
        // What is to be known of the films themselves, wherever they are laid.
        notes.extend(self.picture.notes());
        notes
    }
}

impl Area {
    pub(super) fn named(place: usize) -> Self {
        Self {
            name: format!("Area {}", place + 1),
            ..Self::default()
        }
    }

    /// Share of the build at a pixel of the painting, of 255.
    fn share_at(&self, [x, y]: [f64; 2], ratio: f64, size: [f64; 2]) -> f64 {
        let masked = match &self.mask {
            Some(mask) => mask.at(x * ratio, y * ratio),
            None => 255.0,
        };
        let run = self.run.map_or(1.0, |run| run.at(x, y, size));
        (masked * run + 0.5).floor()
    }
}
