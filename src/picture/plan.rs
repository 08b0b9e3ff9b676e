//! The picture that is saved: underpainting colours, films in mind, notes. Plain data with strict reading.

use nalgebra::Matrix3;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use super::{MOST_BUILD, MOST_FILMS, ground::Measured};
use crate::{
    Error, Result,
    colour::Lab,
    json::{DEEPEST, Kind},
    paint::file::Surface,
    spectrum::{BANDS, Bands},
};

/// Value of [`Plan::format`].
pub const FORMAT: &str = "twoground-picture";
/// Version that this program writes.
pub const VERSION: u32 = 1;
/// Largest saved picture, in bytes.
pub const LARGEST: usize = 1 << 20;
/// Most underpainting colours.
pub const MOST_COLOURS: usize = 40;
/// Most painted patches.
pub const MOST_PATCHES: usize = 100;
/// Most coats of one film.
pub const MOST_COATS: u32 = 20;
/// Least and most that a tube's scatter is corrected by, as a factor.
pub const SCATTER: [f64; 2] = [0.2, 5.0];
/// Most parts of anything in a recipe.
pub const MOST_PARTS: f64 = 100.0;
/// Longest name, in characters.
pub const LONGEST_NAME: usize = 200;
/// Longest notes, in characters.
pub const LONGEST_NOTES: usize = 10_000;

/// One picture. Field names are those of the saved text.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Plan {
    /// Always [`FORMAT`].
    pub format: String,
    /// Format version.
    pub version: u32,
    /// Its name.
    pub name: String,
    /// Underpainting colours.
    pub colours: Vec<Colour>,
    /// Films, the lowest first.
    pub films: Vec<PlannedFilm>,
    /// Scraps that were really painted.
    #[serde(default)]
    pub patches: Vec<Patch>,
    /// Tubes that scatter otherwise here than on their cards, as painted patches show.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub corrections: Vec<Correction>,
    /// Anything else.
    #[serde(default)]
    pub notes: String,
    /// Fields of newer programs, kept as they are and written again.
    #[serde(flatten)]
    pub unknown: Map<String, Value>,
}

/// One underpainting colour.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Colour {
    /// Its name.
    pub name: String,
    /// L*, a*, b* as seen, D50.
    pub lab: [f64; 3],
    /// Standard deviations of the three: how well the colour is known.
    #[serde(default)]
    pub lab_sd: [f64; 3],
    /// Its gloss when it was measured.
    #[serde(default)]
    pub surface: Surface,
    /// Where it came from.
    pub source: Source,
    /// Reflectance on the bands where that is known, too.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spectrum: Option<Vec<f64>>,
    /// Fields of newer programs.
    #[serde(flatten)]
    pub unknown: Map<String, Value>,
}

/// Where an underpainting colour came from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Source {
    /// Typed as L*, a*, b*.
    Typed,
    /// One of a ladder of greys.
    Ladder,
    /// Came with a new picture.
    Given,
    /// A kept tube too thick to see through.
    Masstone {
        /// Name of the tube.
        tube: String,
    },
    /// Averaged over a spot of a scan or photo.
    Picked {
        /// File name.
        file: String,
        /// Its profile.
        profile: String,
        /// Whether it is a camera's picture and no scan.
        photo: bool,
        /// Pixels averaged.
        pixels: u64,
        /// Number of the printed card whose square it was painted into, if it was.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        card: Option<u32>,
    },
}

/// One film in mind.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlannedFilm {
    /// Which tube: a key of the shelf.
    pub tube: String,
    /// Its name when it was laid on, for when the tube is gone.
    pub name: String,
    /// Thickness of one coat as brushed out, in units of the card's own film.
    pub build: f64,
    /// How many coats.
    pub coats: u32,
    /// Standard deviation of the logarithm of the build, where it was learned from painted patches; 0 where it is planned.
    #[serde(default, skip_serializing_if = "is_nothing")]
    pub build_log_sd: f64,
    /// Way of working whose coats it is counted in; absent where it is counted in films of the card.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub way: Option<String>,
    /// What it is thinned with.
    #[serde(default, skip_serializing_if = "Thinning::is_none")]
    pub thinning: Thinning,
    /// Which usual medium that began as: a key of [`super::medium::MEDIA`], or none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub medium: String,
    /// Fields of newer programs.
    #[serde(flatten)]
    pub unknown: Map<String, Value>,
}

/// A scrap that was really painted: what lies under it, what was laid on, and how it came out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Patch {
    /// The colour below.
    pub over: Colour,
    /// The films on it, the lowest first.
    pub films: Vec<PlannedFilm>,
    /// How it came out.
    pub painted: Colour,
    /// Way of working, as typed.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub way: String,
    /// Fields of newer programs.
    #[serde(flatten)]
    pub unknown: Map<String, Value>,
}

/// How a tube's scatter is corrected in this picture. Its card's reading stays as it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Correction {
    /// Which tube: a key of the shelf.
    pub tube: String,
    /// How many times as much as on its card it scatters.
    pub scatter: f64,
    /// Standard deviation of the logarithm of that.
    pub scatter_log_sd: f64,
    /// Fields of newer programs.
    #[serde(flatten)]
    pub unknown: Map<String, Value>,
}

fn is_nothing(value: &f64) -> bool {
    *value == 0.0
}

/// A recipe, in parts by volume.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Thinning {
    /// Paint as it comes from the tube.
    pub paint: f64,
    /// Medium that stays in the dry film: oil, resin, alkyd.
    pub stays: f64,
    /// What evaporates: spirit, turpentine; water with acrylics.
    pub evaporates: f64,
}

impl Default for Thinning {
    fn default() -> Self {
        Self {
            paint: 1.0,
            stays: 0.0,
            evaporates: 0.0,
        }
    }
}

impl Thinning {
    /// Whether there is nothing but paint.
    pub fn is_none(&self) -> bool {
        self.stays == 0.0 && self.evaporates == 0.0
    }

    /// Paint in a film brushed out as thick as one of paint alone. Medium and what evaporates take their share of that
    /// thickness alike; only the medium is still there when the film is dry.
    pub fn share(&self) -> f64 {
        self.paint / (self.paint + self.stays + self.evaporates)
    }

    /// Dry thickness over thickness as brushed out.
    pub fn left_when_dry(&self) -> f64 {
        (self.paint + self.stays) / (self.paint + self.stays + self.evaporates)
    }

    /// Share of medium in what stays: how much fatter than the tube's own paint.
    pub fn fat(&self) -> f64 {
        self.stays / (self.paint + self.stays)
    }
}

impl PlannedFilm {
    /// Build of all its coats together, in units of the card's own film. Coats of one paint in optical contact are one
    /// thicker film.
    pub fn whole_build(&self) -> f64 {
        self.one_coat() * f64::from(self.coats)
    }

    /// Build of one of its coats.
    pub fn one_coat(&self) -> f64 {
        self.build * self.thinning.share()
    }
}

impl Colour {
    /// What the prediction needs of it.
    pub fn measured<'a>(&self, spectrum: &'a mut Bands) -> Measured<'a> {
        let [l, a, b] = self.lab;
        let has_spectrum = self.spectrum.as_ref().is_some_and(|s| {
            spectrum.copy_from_slice(s);
            true
        });
        Measured {
            lab: Lab::new(l, a, b),
            spread: Matrix3::from_diagonal(&self.lab_sd.map(|sd| sd * sd).into()),
            surface: self.surface,
            spectrum: has_spectrum.then_some(spectrum),
        }
    }
}

const KIND: Kind = Kind {
    format: FORMAT,
    version: VERSION,
    largest: LARGEST,
    deepest: DEEPEST,
    refused: |field, reason| Error::PictureFile { field, reason },
};

/// For values that the painter may also have typed.
fn refused(field: impl Into<String>, reason: impl Into<String>) -> Error {
    Error::PictureFile {
        field: field.into(),
        reason: reason.into(),
    }
}

impl Plan {
    /// A new picture of these colours and no films.
    pub fn new(name: &str, colours: Vec<Colour>) -> Self {
        Self {
            format: FORMAT.to_owned(),
            version: VERSION,
            name: name.to_owned(),
            colours,
            films: Vec::new(),
            patches: Vec::new(),
            corrections: Vec::new(),
            notes: String::new(),
            unknown: Map::new(),
        }
    }

    /// Reads a saved picture and checks everything in it.
    ///
    /// # Errors
    /// [`Error::PictureFile`] with the field that is wrong and why.
    pub fn read(text: &str) -> Result<Self> {
        let plan: Self = KIND.read(text)?;
        plan.check()?;
        Ok(plan)
    }

    /// The text that is saved.
    pub fn write(&self) -> String {
        let mut text = serde_json::to_string_pretty(self)
            .expect("a picture is plain numbers, texts and lists");
        text.push('\n');
        text
    }

    /// Everything that types alone do not say.
    ///
    /// # Errors
    /// [`Error::PictureFile`] with the field that is wrong and why.
    pub fn check(&self) -> Result<()> {
        short("name", &self.name, LONGEST_NAME)?;
        short("notes", &self.notes, LONGEST_NOTES)?;
        if self.colours.len() > MOST_COLOURS {
            return Err(refused(
                "colours",
                format!("are more than {MOST_COLOURS}; take some away first"),
            ));
        }
        if self.films.len() > MOST_FILMS {
            return Err(refused(
                "films",
                format!("are more than {MOST_FILMS}; take some away first"),
            ));
        }
        for (i, colour) in self.colours.iter().enumerate() {
            colour.check(&format!("colours[{i}]"))?;
        }
        for (i, film) in self.films.iter().enumerate() {
            film.check(&format!("films[{i}]"))?;
        }
        if self.patches.len() > MOST_PATCHES {
            return Err(refused(
                "patches",
                format!("are more than {MOST_PATCHES}; take some away first"),
            ));
        }
        for (i, patch) in self.patches.iter().enumerate() {
            let at = format!("patches[{i}]");
            patch.over.check(&format!("{at}.over"))?;
            patch.painted.check(&format!("{at}.painted"))?;
            short(&format!("{at}.way"), &patch.way, LONGEST_NAME)?;
            if patch.films.len() > MOST_FILMS {
                return Err(refused(
                    format!("{at}.films"),
                    format!("are more than {MOST_FILMS}; take some away first"),
                ));
            }
            for (j, film) in patch.films.iter().enumerate() {
                film.check(&format!("{at}.films[{j}]"))?;
            }
        }
        if self.corrections.len() > MOST_PATCHES {
            return Err(refused("corrections", "are too many"));
        }
        for (i, correction) in self.corrections.iter().enumerate() {
            let at = format!("corrections[{i}]");
            short(&format!("{at}.tube"), &correction.tube, 1000)?;
            let [least, most] = SCATTER;
            within(format!("{at}.scatter"), correction.scatter, least, most)?;
            within(
                format!("{at}.scatter_log_sd"),
                correction.scatter_log_sd,
                0.0,
                3.0,
            )?;
            if self.corrections[..i]
                .iter()
                .any(|c| c.tube == correction.tube)
            {
                return Err(refused(at, "names a tube a second time"));
            }
        }
        Ok(())
    }
}

fn short(field: &str, text: &str, longest: usize) -> Result<()> {
    if text.chars().count() > longest {
        return Err(refused(
            field,
            format!("is longer than {longest} characters. Shorten it"),
        ));
    }
    Ok(())
}

fn within(field: String, value: f64, low: f64, high: f64) -> Result<()> {
    if (low..=high).contains(&value) {
        Ok(())
    } else {
        Err(refused(
            field,
            format!("is not between {low} and {high}. Choose a value that is"),
        ))
    }
}

impl Colour {
    fn check(&self, at: &str) -> Result<()> {
        short(&format!("{at}.name"), &self.name, LONGEST_NAME)?;
        let [l, a, b] = self.lab;
        within(format!("{at}.lab: L*"), l, 0.0, 100.0)?;
        within(format!("{at}.lab: a*"), a, -150.0, 150.0)?;
        within(format!("{at}.lab: b*"), b, -150.0, 150.0)?;
        for sd in self.lab_sd {
            within(format!("{at}.lab_sd"), sd, 0.0, 50.0)?;
        }
        if let Some(spectrum) = &self.spectrum {
            if spectrum.len() != BANDS {
                return Err(refused(
                    format!("{at}.spectrum"),
                    format!(
                        "has {} numbers, not {BANDS}. Pick the colour again",
                        spectrum.len()
                    ),
                ));
            }
            for value in spectrum {
                within(format!("{at}.spectrum"), *value, 0.0, 1.0)?;
            }
        }
        match &self.source {
            Source::Masstone { tube } => short(&format!("{at}.source.tube"), tube, LONGEST_NAME),
            Source::Picked { file, profile, .. } => {
                short(&format!("{at}.source.file"), file, 1000)?;
                short(&format!("{at}.source.profile"), profile, 1000)
            }
            Source::Typed | Source::Ladder | Source::Given => Ok(()),
        }
    }
}

impl PlannedFilm {
    fn check(&self, at: &str) -> Result<()> {
        short(&format!("{at}.tube"), &self.tube, 1000)?;
        short(&format!("{at}.name"), &self.name, 2000)?;
        short(&format!("{at}.medium"), &self.medium, LONGEST_NAME)?;
        within(format!("{at}.build"), self.build, 0.0, MOST_BUILD)?;
        within(format!("{at}.build_log_sd"), self.build_log_sd, 0.0, 3.0)?;
        short(
            &format!("{at}.way"),
            self.way.as_deref().unwrap_or_default(),
            LONGEST_NAME,
        )?;
        if self.coats > MOST_COATS {
            return Err(refused(
                format!("{at}.coats"),
                format!("is more than {MOST_COATS}; take some away first"),
            ));
        }
        let Thinning {
            paint,
            stays,
            evaporates,
        } = self.thinning;
        within(format!("{at}.thinning.paint"), paint, 0.01, MOST_PARTS)?;
        within(format!("{at}.thinning.stays"), stays, 0.0, MOST_PARTS)?;
        within(
            format!("{at}.thinning.evaporates"),
            evaporates,
            0.0,
            MOST_PARTS,
        )?;
        // Together they must still be a film that can be predicted.
        within(
            format!("{at}: build times coats"),
            self.whole_build(),
            0.0,
            MOST_BUILD,
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plan() -> Plan {
        let mut plan = Plan::new(
            "Harbour",
            vec![Colour {
                name: "sky".into(),
                lab: [70.0, -3.0, -12.0],
                lab_sd: [0.5, 0.5, 0.5],
                surface: Surface::Matt,
                source: Source::Picked {
                    file: "harbour.tif".into(),
                    profile: "sRGB".into(),
                    photo: true,
                    pixels: 400,
                    card: Some(7),
                },
                spectrum: None,
                unknown: Map::new(),
            }],
        );
        plan.films.push(PlannedFilm {
            tube: "kept-3".into(),
            name: "rose".into(),
            build: 0.8,
            coats: 2,
            build_log_sd: 0.0,
            way: Some("rag".into()),
            thinning: Thinning {
                paint: 1.0,
                stays: 1.0,
                evaporates: 2.0,
            },
            medium: "oil-solvent".into(),
            unknown: Map::new(),
        });
        plan
    }

    #[test]
    fn a_picture_comes_back_as_it_was_with_fields_that_are_not_known() {
        let plan = plan();
        assert_eq!(Plan::read(&plan.write()).unwrap(), plan);
        let mut value: Value = serde_json::from_str(&plan.write()).unwrap();
        value["varnish"] = "dammar".into();
        value["films"][0]["brush"] = 12.into();
        value["colours"][0]["place"] = serde_json::json!({"x": 3});
        let read = Plan::read(&value.to_string()).unwrap();
        let again: Value = serde_json::from_str(&read.write()).unwrap();
        assert_eq!(again, value);
    }

    #[test]
    fn what_is_wrong_is_named() {
        let good: Value = serde_json::from_str(&plan().write()).unwrap();
        let refusal = |path: &str, value: Value| {
            let mut bad = good.clone();
            *bad.pointer_mut(path).unwrap() = value;
            Plan::read(&bad.to_string()).unwrap_err().to_string()
        };
        for (path, value, words) in [
            (
                "/format",
                "twoground-pigment".into(),
                "another kind of file",
            ),
            ("/version", 2.into(), "Use a newer program"),
            ("/version", 0.into(), "version"),
            ("/name", 3.into(), "name is wrong"),
            ("/name", "x".repeat(201).into(), "name is longer than 200"),
            (
                "/colours/0/lab/0",
                101.into(),
                "colours[0].lab: L* is not between 0 and 100",
            ),
            (
                "/colours/0/lab/1",
                "red".into(),
                "colours[0].lab[1] is wrong",
            ),
            (
                "/colours/0/surface",
                "wet".into(),
                "colours[0].surface is wrong",
            ),
            (
                "/colours/0/source/kind",
                "dreamt".into(),
                "colours[0].source",
            ),
            (
                "/films/0/build",
                (-1).into(),
                "films[0].build is not between",
            ),
            (
                "/films/0/coats",
                21.into(),
                "films[0].coats is more than 20",
            ),
            (
                "/films/0/thinning/paint",
                0.into(),
                "films[0].thinning.paint",
            ),
        ] {
            let refusal = refusal(path, value);
            assert!(refusal.contains(words), "{path}: {refusal}");
            assert!(refusal.starts_with("The saved picture cannot be used: "));
        }
        assert!(Plan::read("{").is_err());
        assert!(Plan::read("[]").is_err());
        assert!(Plan::read(&" ".repeat(LARGEST + 1)).is_err());
    }

    #[test]
    fn medium_takes_its_share_and_what_evaporates_leaves() {
        let film = &plan().films[0];
        assert_eq!(film.thinning.share(), 0.25);
        assert_eq!(film.thinning.left_when_dry(), 0.5);
        assert_eq!(film.thinning.fat(), 0.5);
        assert!((film.whole_build() - 0.4).abs() < 1e-12);
        assert_eq!(Thinning::default().share(), 1.0);
    }
}
