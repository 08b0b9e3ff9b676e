//! The whole shelf as one file: out, in again, and what that would change.

use serde::{Deserialize, Serialize};
use serde_json::{Value, value::RawValue};

use super::{Part, Wish, tube_key};
use crate::{
    Error, Result,
    error::plain,
    json::{self, Kind},
    paint::{Record, file},
    picture::plan::Plan,
};

/// Value of [`Copy::format`].
pub const FORMAT: &str = "twoground-shelf";
/// Version that this program writes.
pub const VERSION: u32 = 1;
/// Largest copy that is read, in bytes: some ten thousand tubes.
pub const LARGEST: usize = 256 << 20;

/// The file. Field names are the file's; what is in it stays text until it is looked at, so that reading takes little more than
/// the file itself.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Copy {
    /// Always [`FORMAT`].
    pub format: String,
    /// Format version.
    pub version: u32,
    /// When it was saved, ISO 8601.
    #[serde(default)]
    pub when: String,
    /// By which program.
    #[serde(default)]
    pub program: String,
    /// Kept tubes.
    pub tubes: Vec<CopiedTube>,
    /// Saved pictures.
    #[serde(default)]
    pub pictures: Vec<CopiedPicture>,
}

/// A tube of the file.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct CopiedTube {
    /// What the file's pictures call it.
    pub key: String,
    /// The pigment file, or its text where it was damaged when it was copied.
    pub pigment: Box<RawValue>,
}

/// A picture of the file.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct CopiedPicture {
    /// The saved picture, or its text where it was damaged when it was copied.
    pub picture: Box<RawValue>,
}

/// A thing that is kept: its number and text.
pub type KeptText = (u32, String);

/// How something in a copy compares with what is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Standing {
    /// Not kept here.
    New,
    /// Kept here just so.
    Same,
    /// Kept here in another way.
    Differs,
    /// Cannot be read.
    Damaged,
}

/// What to do with something that differs.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Choice {
    /// What is kept here stays as it is.
    #[default]
    Mine,
    /// It becomes as in the copy.
    Theirs,
    /// Both are kept.
    Both,
}

/// One line of the preview.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Line {
    /// Tube or picture.
    pub part: Part,
    /// Its name.
    pub name: String,
    /// How it compares.
    pub standing: Standing,
    /// What differs, or why it is damaged.
    pub words: String,
    /// What is done where nothing is chosen.
    pub choice: Choice,
    /// Which of the kept it is.
    #[serde(skip)]
    mine: Option<KeptText>,
    /// Its text as it would be kept; of pictures with the copy's own keys.
    #[serde(skip)]
    text: String,
    /// Its key, for tubes.
    #[serde(skip)]
    key: String,
}

const KIND: Kind = Kind {
    format: FORMAT,
    version: VERSION,
    largest: LARGEST,
    deepest: json::DEEPEST + 4,
    refused: |field, reason| Error::ShelfFile { field, reason },
};

/// Keys of tubes in a picture, exchanged where `to` gives another.
pub fn rename(plan: &mut Plan, to: impl Fn(&str) -> Option<String>) {
    let films = plan
        .films
        .iter_mut()
        .chain(plan.patches.iter_mut().flat_map(|patch| &mut patch.films));
    for film in films {
        if let Some(key) = to(&film.tube) {
            film.tube = key;
        }
    }
    let mut corrected = Vec::new();
    plan.corrections.retain_mut(|correction| {
        if let Some(key) = to(&correction.tube) {
            correction.tube = key;
        }
        // Two tubes of a copy may be one here, and a tube is corrected once.
        let first = !corrected.contains(&correction.tube);
        corrected.push(correction.tube.clone());
        first
    });
}

/// A kept text as it goes out: JSON inside the copy's own where it is, and is not too deep for that; otherwise a text.
fn raw_of(text: &str) -> Box<RawValue> {
    let value = if json::depth(text) <= json::DEEPEST {
        serde_json::from_str(text).ok()
    } else {
        None
    };
    let value = value.unwrap_or_else(|| Value::String(text.to_owned()));
    serde_json::value::to_raw_value(&value).expect("a value is always written")
}

fn text_of(raw: &RawValue) -> String {
    serde_json::from_str(raw.get()).unwrap_or_else(|_| raw.get().to_owned())
}

/// A text inside something that is damaged, to call it by.
fn named<const N: usize>(raw: &RawValue, path: [&str; N]) -> Option<String> {
    if raw.get().len() > file::LARGEST {
        return None;
    }
    let value: Value = serde_json::from_str(raw.get()).ok()?;
    let at = path.iter().try_fold(&value, |value, key| value.get(key))?;
    at.as_str().map(plain)
}

impl Copy {
    /// A copy of everything that is kept, also of what cannot be read.
    pub fn of(paints: &[KeptText], pictures: &[KeptText], when: &str) -> Self {
        Self {
            format: FORMAT.to_owned(),
            version: VERSION,
            when: when.to_owned(),
            program: format!("Two Grounds {}", env!("CARGO_PKG_VERSION")),
            tubes: paints
                .iter()
                .map(|(id, text)| CopiedTube {
                    key: tube_key(*id),
                    pigment: raw_of(text),
                })
                .collect(),
            pictures: pictures
                .iter()
                .map(|(_, text)| CopiedPicture {
                    picture: raw_of(text),
                })
                .collect(),
        }
    }

    /// The file's text.
    pub fn write(&self) -> String {
        let mut text =
            serde_json::to_string(self).expect("a copy is plain numbers, texts and lists");
        text.push('\n');
        text
    }

    /// Reads a copy. What is in it is looked at by [`Copy::preview`].
    ///
    /// # Errors
    /// [`Error::ShelfFile`] with the field that is wrong and why.
    pub fn read(text: &str) -> Result<Self> {
        KIND.read(text)
    }

    /// What bringing it in would change, tubes first, in the file's order.
    pub fn preview(&self, paints: &[KeptText], pictures: &[KeptText]) -> Vec<Line> {
        let kept: Vec<(Record, &KeptText)> = paints
            .iter()
            .filter_map(|kept| Some((Record::read(&kept.1).ok()?, kept)))
            .collect();
        let mut taken = vec![false; kept.len()];
        let mut lines: Vec<Line> = self
            .tubes
            .iter()
            .map(|tube| tube_line(tube, &kept, &mut taken))
            .collect();
        let here: Vec<(Plan, &KeptText)> = pictures
            .iter()
            .filter_map(|kept| Some((Plan::read(&kept.1).ok()?, kept)))
            .collect();
        let mut taken = vec![false; here.len()];
        let pictures: Vec<Line> = self
            .pictures
            .iter()
            .map(|picture| picture_line(&picture.picture, &lines, &here, &mut taken))
            .collect();
        lines.extend(pictures);
        lines
    }
}

/// Two records of one reading: the same cells measured at the same time, whatever is written on the tube and by whichever fit.
fn same_reading(a: &Record, b: &Record) -> bool {
    let measured =
        |record: &Record| -> Vec<[f64; 3]> { record.cells.iter().map(|cell| cell.xyz).collect() };
    measured(a) == measured(b)
        && a.provenance.file_name == b.provenance.file_name
        && a.provenance.when == b.provenance.when
}

fn damaged(part: Part, name: String, error: &Error) -> Line {
    Line {
        part,
        name,
        standing: Standing::Damaged,
        words: error.to_string(),
        choice: Choice::Mine,
        mine: None,
        text: String::new(),
        key: String::new(),
    }
}

fn tube_line(tube: &CopiedTube, kept: &[(Record, &KeptText)], taken: &mut [bool]) -> Line {
    let record = match Record::read(&text_of(&tube.pigment)) {
        Ok(record) => record,
        Err(error) => {
            let name = named(&tube.pigment, ["paint", "name"]).unwrap_or_else(|| "A tube".into());
            return damaged(Part::Paints, name, &error);
        }
    };
    let candidates: Vec<usize> = (0..kept.len())
        .filter(|&i| !taken[i] && same_reading(&kept[i].0, &record))
        .collect();
    let same = candidates.iter().copied().find(|&i| kept[i].0 == record);
    let mine = same.or(candidates.first().copied());
    if let Some(i) = mine {
        taken[i] = true;
    }
    let (standing, words) = match (same, mine) {
        (Some(_), _) => (Standing::Same, String::new()),
        (None, Some(i)) => (Standing::Differs, label_difference(&kept[i].0, &record)),
        (None, None) => (Standing::New, String::new()),
    };
    Line {
        part: Part::Paints,
        name: record.paint.name_or_unnamed().to_owned(),
        standing,
        words,
        choice: Choice::Mine,
        mine: mine.map(|i| kept[i].1.clone()),
        text: record.write(),
        key: tube.key.clone(),
    }
}

/// Where two labels differ: here, and in the copy.
fn label_difference(mine: &Record, theirs: &Record) -> String {
    let (a, b) = (&mine.paint, &theirs.paint);
    let codes = |record: &Record| record.paint.colour_index.join(", ");
    let coats = |record: &Record| match record.coats.len() {
        0 => String::new(),
        1 => "one scrap".to_owned(),
        n => format!("{n} scraps"),
    };
    let weight = |record: &Record| {
        let weight = record.film_weight;
        weight.map_or_else(String::new, |weight| format!("{weight} g/m²"))
    };
    let gauge = |record: &Record| record.gauge.clone().unwrap_or_default();
    let fields = [
        ("name", a.name.clone(), b.name.clone()),
        ("maker", a.maker.clone(), b.maker.clone()),
        ("Colour Index", codes(mine), codes(theirs)),
        ("binder", a.binder.clone(), b.binder.clone()),
        ("batch", a.batch.clone(), b.batch.clone()),
        ("date drawn", a.drawn_on.clone(), b.drawn_on.clone()),
        ("gauge", gauge(mine), gauge(theirs)),
        ("film weight", weight(mine), weight(theirs)),
        (
            "lightfastness",
            a.lightfastness.clone(),
            b.lightfastness.clone(),
        ),
        ("notes", a.notes.clone(), b.notes.clone()),
        ("my coats", coats(mine), coats(theirs)),
    ];
    let short = |text: &str| match text.trim() {
        "" => "nothing".to_owned(),
        text if text.chars().count() > 60 => {
            format!("“{} …”", text.chars().take(60).collect::<String>())
        }
        text => format!("“{text}”"),
    };
    let differing: Vec<String> = fields
        .iter()
        .filter(|(_, a, b)| a != b)
        .map(|(field, a, b)| format!("{field}: here {}, in the copy {}", short(a), short(b)))
        .collect();
    if differing.is_empty() {
        "It was read or answered differently.".to_owned()
    } else {
        format!("{}.", differing.join("; "))
    }
}

fn picture_line(
    value: &RawValue,
    tubes: &[Line],
    here: &[(Plan, &KeptText)],
    taken: &mut [bool],
) -> Line {
    let plan = match Plan::read(&text_of(value)) {
        Ok(plan) => plan,
        Err(error) => {
            let name = named(value, ["name"]).unwrap_or_else(|| "A picture".into());
            return damaged(Part::Pictures, name, &error);
        }
    };
    // As it would be with the tubes that are kept here.
    let mut local = plan.clone();
    rename(&mut local, |key| {
        let line = tubes.iter().find(|line| line.key == key)?;
        line.mine.as_ref().map(|(id, _)| tube_key(*id))
    });
    let free = |i: &usize| !taken[*i];
    let same = (0..here.len()).filter(free).find(|&i| here[i].0 == local);
    let named = (0..here.len())
        .filter(free)
        .find(|&i| here[i].0.name == plan.name);
    let mine = same.or(named);
    if let Some(i) = mine {
        taken[i] = true;
    }
    let standing = match (same, mine) {
        (Some(_), _) => Standing::Same,
        (None, Some(_)) => Standing::Differs,
        (None, None) => Standing::New,
    };
    let size = |plan: &Plan| {
        format!(
            "{} colours, {} films, {} patches",
            plan.colours.len(),
            plan.films.len(),
            plan.patches.len()
        )
    };
    Line {
        part: Part::Pictures,
        words: match (standing, mine) {
            (Standing::Differs, Some(i)) => format!(
                "Another picture of this name: here {}; in the copy {}.",
                size(&here[i].0),
                size(&plan)
            ),
            _ => String::new(),
        },
        name: plan.name.clone(),
        standing,
        // A name alone does not make it the same picture.
        choice: Choice::Both,
        mine: mine.map(|i| here[i].1.clone()),
        text: plan.write(),
        key: String::new(),
    }
}

/// What has to be changed to bring a copy in, by a choice for every line. Pictures come to refer to the tubes as they are
/// kept here.
pub fn wishes(lines: &[Line], choices: &[Choice]) -> Vec<Wish> {
    let mut wishes: Vec<Wish> = Vec::new();
    // For every key of the copy: the tube kept here, or the wish that makes it.
    let mut known: Vec<(&str, String)> = Vec::new();
    let mut made: Vec<(String, usize)> = Vec::new();
    for (i, line) in lines.iter().enumerate() {
        let choice = choices.get(i).copied().unwrap_or(line.choice);
        let wish = match (line.standing, &line.mine, choice) {
            (Standing::Damaged, _, _) => continue,
            (Standing::New, _, _) | (Standing::Differs, _, Choice::Both) => {
                Some(Wish::new(line.part, line.text.clone()))
            }
            (Standing::Differs, Some((id, seen)), Choice::Theirs) => Some(Wish::replace(
                line.part,
                *id,
                seen.clone(),
                line.text.clone(),
            )),
            (Standing::Same | Standing::Differs, _, _) => None,
        };
        if line.part == Part::Paints {
            match (&wish, &line.mine) {
                (Some(Wish { id: Some(id), .. }), _) | (None, Some((id, _))) => {
                    known.push((&line.key, tube_key(*id)))
                }
                _ => made.push((line.key.clone(), wishes.len())),
            }
        }
        if let Some(mut wish) = wish {
            if line.part == Part::Pictures {
                wish.text = wish.text.map(|text| with_known(text, &known));
                wish.tubes = pending(&made);
            }
            wishes.push(wish);
        }
    }
    wishes
}

/// A key that no shelf gives out, for tubes of a copy while those of the shelf are put in.
const PENDING: &str = "copied:";

/// A picture of a copy with the tubes that are kept here; those still to be made under a key of their own, since the same
/// key may mean another tube here.
fn with_known(text: String, known: &[(&str, String)]) -> String {
    match Plan::read(&text) {
        Ok(mut plan) => {
            rename(&mut plan, |key| {
                let here = known.iter().find(|(of, _)| *of == key);
                Some(here.map_or_else(|| format!("{PENDING}{key}"), |(_, here)| here.clone()))
            });
            plan.write()
        }
        Err(_) => text,
    }
}

fn pending(made: &[(String, usize)]) -> Vec<(String, usize)> {
    made.iter()
        .map(|(key, wish)| (format!("{PENDING}{key}"), *wish))
        .collect()
}
