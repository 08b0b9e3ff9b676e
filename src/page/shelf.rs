//! The shelf on the page: tubes as rows, sorted and filtered, several readings of one tube together, tubes compared.

mod compare;
mod readings;
#[cfg(test)]
mod tests;

use serde::{Deserialize, Serialize};

use super::{PaintView, Problem, paper::WallTube};
use crate::{
    Result,
    colour::Lab,
    paint::{
        Constants, Record,
        file::{Grade, Label},
    },
    picture::depth::Depth,
    shelf::{copy::KeptText, history::day_number},
};

pub use compare::CompareView;
pub(super) use readings::as_mean;
use readings::{Joined, ReadingRow};

/// What the painter asks to see of the shelf.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(default)]
pub struct Ask {
    /// Words that must all occur on the label or in the verdict.
    pub search: String,
    /// A Colour Index name.
    pub code: String,
    /// A binder.
    pub binder: String,
    /// A grade, as the file has it.
    pub grade: String,
    /// What to sort by.
    pub sort: Sort,
}

/// Orders of the shelf.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Sort {
    /// The last that came first.
    #[default]
    Date,
    /// From clear to covering.
    Milk,
    /// Around the hues from red over yellow, green and blue; neutrals last.
    Hue,
    /// The lightest masstone first.
    Lightness,
    /// By name.
    Name,
}

/// The shelf as it is shown.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ShelfView {
    /// Tubes in order.
    pub rows: Vec<Row>,
    /// How many readings are kept in all.
    pub kept: usize,
    /// How many tubes that is.
    pub tubes: usize,
    /// Colour Index names that occur, with how often.
    pub codes: Vec<Offer>,
    /// Binders that occur.
    pub binders: Vec<Offer>,
    /// Grades that occur.
    pub grades: Vec<Offer>,
}

/// A value to filter by.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Offer {
    /// The value.
    pub value: String,
    /// The same for the painter, with how many tubes have it.
    pub words: String,
}

/// One tube, with one or several readings of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    /// Number of the reading that stands for the tube.
    pub id: u32,
    /// Its name.
    pub name: String,
    /// Verdict in a few words.
    pub headline: String,
    /// Milk on black, with its range.
    pub milk: String,
    /// Maker, Colour Index names, binder, batch.
    pub detail: String,
    /// The drawn strip, SVG.
    pub strip: String,
    /// The strip in words.
    pub strip_words: String,
    /// Whether there are constants.
    pub predicts: bool,
    /// Why it cannot be read.
    pub problem: Option<Problem>,
    /// All readings, where there are several.
    pub readings: Vec<ReadingRow>,
    /// What the readings say together.
    pub together: String,
}

/// One kept reading.
struct Tube {
    id: u32,
    text: String,
    paint: std::result::Result<Known, Problem>,
}

/// What is known of one that can be read.
pub(super) struct Known {
    record: Record,
    view: PaintView,
    constants: Option<(Constants, Depth)>,
}

/// The shelf that is open, parsed once.
#[derive(Default)]
pub struct OpenShelf {
    tubes: Vec<Tube>,
    /// Tubes of which there are several readings.
    joined: Vec<Joined>,
    /// Numbers of what came or changed since they were joined.
    changed: Vec<u32>,
}

/// Least chroma of an undertone that has a hue to sort by (ours).
const NEUTRAL: f64 = 6.0;

impl Known {
    fn of(text: &str) -> Result<Self> {
        Self::of_record(Record::read(text)?)
    }

    fn of_record(record: Record) -> Result<Self> {
        Ok(Self {
            view: PaintView::of(&record)?,
            constants: record.constants().ok().map(|constants| {
                let depth = Depth::of(&constants, record.thickest());
                (constants, depth)
            }),
            record,
        })
    }

    fn tube(&self) -> Option<[String; 4]> {
        tube_of(&self.record.paint)
    }

    fn day(&self) -> i64 {
        let record = &self.record;
        day_number(record.paint.drawn_on.trim())
            .or_else(|| day_number(&record.provenance.when))
            .unwrap_or(i64::MIN)
    }

    /// Clear first; those without a number by their grade.
    pub(super) fn milkiness(&self) -> f64 {
        let opacity = &self.record.opacity;
        opacity.milk_on_black.unwrap_or(match opacity.grade {
            Some(Grade::Veil) => 1e3,
            Some(Grade::HalfCovering) => 2e3,
            Some(_) => 3e3,
            None => 4e3,
        })
    }

    pub(super) fn hue(&self) -> f64 {
        match self.record.opacity.undertone_lab {
            Some([_, a, b]) if libm::hypot(a, b) >= NEUTRAL => {
                libm::atan2(b, a).to_degrees().rem_euclid(360.0)
            }
            _ => 1e3,
        }
    }

    fn lightness(&self) -> f64 {
        let opacity = &self.record.opacity;
        opacity
            .masstone_lab
            .or(opacity.undertone_lab)
            .map_or(-1.0, |lab| lab[0])
    }

    /// However they were typed, as the Colour Index writes them: all capitals, but PBr and PBk.
    fn codes(&self) -> impl Iterator<Item = String> {
        let codes = self.record.paint.colour_index.iter();
        codes.map(|code| {
            let capitals = code.trim().to_uppercase();
            capitals.replace("BR", "Br").replace("BK", "Bk")
        })
    }

    fn grade(&self) -> Option<Grade> {
        self.record.opacity.grade
    }

    fn holds(&self, words: &str) -> bool {
        let label = &self.record.paint;
        let mut all = [
            &label.name,
            &label.maker,
            &label.binder,
            &label.batch,
            &label.drawn_on,
            &label.lightfastness,
            &label.notes,
            &self.view.short,
        ]
        .map(String::as_str)
        .join(" ");
        self.codes().for_each(|code| {
            all.push(' ');
            all.push_str(&code);
        });
        let all = all.to_lowercase();
        words
            .to_lowercase()
            .split_whitespace()
            .all(|word| all.contains(word))
    }

    /// Whether its label is what is asked for.
    fn labelled(&self, ask: &Ask) -> bool {
        let same = |a: &str, b: &str| a.trim().to_lowercase() == b.trim().to_lowercase();
        (ask.code.is_empty() || self.codes().any(|code| same(&code, &ask.code)))
            && (ask.binder.is_empty() || same(&self.record.paint.binder, &ask.binder))
            && self.holds(&ask.search)
    }

    /// Whether it does what is asked for.
    fn does(&self, ask: &Ask) -> bool {
        ask.grade.is_empty() || self.grade().map(grade_value).as_deref() == Some(&ask.grade)
    }

    fn detail(&self) -> String {
        let label = &self.record.paint;
        let batch = match label.batch.trim() {
            "" => String::new(),
            batch => format!("batch {batch}"),
        };
        std::iter::once(label.maker.clone())
            .chain(label.colour_index.iter().cloned())
            .chain([label.binder.clone(), batch])
            .filter(|text| !text.trim().is_empty())
            .collect::<Vec<_>>()
            .join(", ")
    }

    /// The tube as a wall chart has it.
    pub(super) fn on_the_wall(&self) -> WallTube {
        let opacity = &self.record.opacity;
        WallTube {
            name: self.view.name.clone(),
            detail: self.detail(),
            short: self.view.short.clone(),
            milk: self.view.milk.clone(),
            strip: self.view.strip.clone(),
            masstone: self.view.masstone.clone(),
            lightfastness: self.record.paint.lightfastness.clone(),
            undertone: opacity
                .undertone_lab
                .map(|[l, a, b]| Lab::new(l, a, b).into()),
        }
    }
}

/// What makes a label that of the same tube as another: name, maker, binder and batch, however they are typed. A tube without a
/// name is only itself.
pub(super) fn tube_of(label: &Label) -> Option<[String; 4]> {
    tube_named([&label.name, &label.maker, &label.binder, &label.batch])
}

/// The same from these four.
pub(super) fn tube_named([name, maker, binder, batch]: [&str; 4]) -> Option<[String; 4]> {
    let plain = |text: &str| {
        text.split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
            .to_lowercase()
    };
    let name = plain(name);
    (!name.is_empty()).then(|| [name, plain(maker), plain(binder), plain(batch)])
}

/// A grade as the file has it.
fn grade_value(grade: Grade) -> String {
    match grade {
        Grade::Clear => "clear",
        Grade::SlightlyMilky => "slightly milky",
        Grade::Veil => "veil",
        Grade::HalfCovering => "half covering",
        Grade::Covering => "covering",
    }
    .to_owned()
}

impl OpenShelf {
    /// Takes up what is kept. What was there already is not read again.
    pub fn use_all(&mut self, kept: Vec<KeptText>) {
        let mut old = std::mem::take(&mut self.tubes);
        for (id, text) in kept {
            let at = old
                .iter()
                .position(|tube| tube.id == id && tube.text == text);
            self.tubes.push(match at {
                Some(at) => old.swap_remove(at),
                None => {
                    self.changed.push(id);
                    Tube {
                        id,
                        paint: Known::of(&text).map_err(|error| Problem::from(&error)),
                        text,
                    }
                }
            });
        }
    }

    /// Joins the readings of every tube of which there are several; those that have not changed are joined already.
    fn join(&mut self) -> Result<()> {
        let mut old = std::mem::take(&mut self.joined);
        old.retain(|joined| !joined.ids.iter().any(|id| self.changed.contains(id)));
        let mut all = Vec::new();
        for group in self.groups() {
            let readings: Vec<(u32, &Known)> = group
                .iter()
                .filter_map(|tube| Some((tube.id, tube.paint.as_ref().ok()?)))
                .collect();
            if readings.len() < 2 {
                continue;
            }
            let same = |joined: &Joined| joined.ids.iter().eq(readings.iter().map(|(id, _)| id));
            all.push(match old.iter().position(same) {
                Some(at) => old.swap_remove(at),
                None => Joined::of(&readings)?,
            });
        }
        self.joined = all;
        self.changed.clear();
        Ok(())
    }

    /// How many readings there are of the tube of this one.
    ///
    /// # Errors
    /// Where a film cannot be predicted.
    pub fn readings_of(&mut self, id: u32) -> Result<usize> {
        self.join()?;
        let joined = self.joined.iter().find(|joined| joined.ids.contains(&id));
        Ok(joined.map_or(1, |joined| joined.ids.len()))
    }

    /// View of the tube of a reading: the mean of all its readings, or the only one.
    ///
    /// # Errors
    /// Where a film cannot be predicted.
    pub fn tube_view(&mut self, id: u32) -> Result<Option<&PaintView>> {
        self.join()?;
        Ok(self.tube(id).map(|known| &known.view))
    }

    /// Text of a reading.
    pub fn text(&self, id: u32) -> Option<&str> {
        let tube = self.tubes.iter().find(|tube| tube.id == id)?;
        Some(&tube.text)
    }

    /// View of a reading.
    pub fn paint(&self, id: u32) -> Option<&PaintView> {
        let tube = self.tubes.iter().find(|tube| tube.id == id)?;
        tube.paint.as_ref().ok().map(|known| &known.view)
    }

    /// What stands for the tube of a reading: the mean of all its readings, or the only one.
    pub(super) fn tube(&self, id: u32) -> Option<&Known> {
        if let Some(joined) = self.joined.iter().find(|joined| joined.ids.contains(&id)) {
            return Some(&joined.known);
        }
        let tube = self.tubes.iter().find(|tube| tube.id == id)?;
        tube.paint.as_ref().ok()
    }

    /// Readings of one tube together, in the order in which the first of each was kept.
    fn groups(&self) -> Vec<Vec<&Tube>> {
        let mut groups: Vec<(Option<[String; 4]>, Vec<&Tube>)> = Vec::new();
        for tube in &self.tubes {
            let key = tube.paint.as_ref().ok().and_then(Known::tube);
            let there = groups
                .iter_mut()
                .find(|(of, _)| key.is_some() && *of == key);
            match there {
                Some((_, tubes)) => tubes.push(tube),
                None => groups.push((key, vec![tube])),
            }
        }
        groups.into_iter().map(|(_, tubes)| tubes).collect()
    }

    /// The shelf as asked for. What cannot be read comes last and is shown whatever is asked for, so that it is seen.
    ///
    /// # Errors
    /// Where a film cannot be predicted.
    pub fn list(&mut self, ask: &Ask) -> Result<ShelfView> {
        self.join()?;
        let groups = self.groups();
        let tubes = groups.len();
        let mut rows = Vec::new();
        let mut damaged = Vec::new();
        let mut grades = Vec::new();
        for group in &groups {
            let known: Vec<(u32, &Known)> = group
                .iter()
                .filter_map(|tube| Some((tube.id, tube.paint.as_ref().ok()?)))
                .collect();
            for tube in group {
                if let Err(problem) = &tube.paint {
                    damaged.push(damaged_row(tube.id, problem));
                }
            }
            let Some(&(id, first)) = known.first() else {
                continue;
            };
            let joined = self.joined.iter().find(|joined| joined.ids[0] == id);
            let stands = joined.map_or(first, |joined| &joined.known);
            grades.extend(stands.grade());
            // The newest of its readings is the tube's day.
            let day = known.iter().map(|(_, known)| known.day()).max();
            if stands.does(ask) && known.iter().any(|(_, known)| known.labelled(ask)) {
                let row = joined.map_or_else(|| readings::alone(id, first), Joined::row);
                rows.push((row, stands, day.unwrap_or(i64::MIN)));
            }
        }
        crate::order::sort_by(&mut rows, &|(row, a, day), (other, b, other_day)| {
            let (a, b) = match ask.sort {
                Sort::Date => (-(*day as f64), -(*other_day as f64)),
                Sort::Milk => (a.milkiness(), b.milkiness()),
                Sort::Hue => (a.hue(), b.hue()),
                Sort::Lightness => (-a.lightness(), -b.lightness()),
                Sort::Name => (0.0, 0.0),
            };
            let names = || row.name.to_lowercase().cmp(&other.name.to_lowercase());
            let last = || match ask.sort {
                Sort::Date => other.id.cmp(&row.id),
                _ => names(),
            };
            a.total_cmp(&b).then_with(last)
        });
        let known = || {
            groups.iter().map(|group| {
                group
                    .iter()
                    .filter_map(|tube| tube.paint.as_ref().ok())
                    .collect::<Vec<_>>()
            })
        };
        Ok(ShelfView {
            rows: rows
                .into_iter()
                .map(|(row, ..)| row)
                .chain(damaged)
                .collect(),
            kept: self.tubes.len(),
            tubes,
            codes: offers(
                known().map(|group| group.iter().flat_map(|k| k.codes()).collect()),
                |c| c.to_owned(),
            ),
            binders: offers(
                known().map(|group| {
                    group
                        .iter()
                        .map(|k| k.record.paint.binder.trim().to_lowercase())
                        .collect()
                }),
                |binder| binder.to_owned(),
            ),
            grades: grade_offers(&grades),
        })
    }
}

/// Values that occur in groups, in alphabetical order (numbers in codes by size), with how many groups have them.
fn offers(groups: impl Iterator<Item = Vec<String>>, words: impl Fn(&str) -> String) -> Vec<Offer> {
    let mut counts: Vec<(String, usize)> = Vec::new();
    for mut values in groups {
        crate::order::sort_by(&mut values, &String::cmp);
        values.dedup();
        for value in values.into_iter().filter(|value| !value.is_empty()) {
            match counts.iter_mut().find(|(of, _)| *of == value) {
                Some((_, count)) => *count += 1,
                None => counts.push((value, 1)),
            }
        }
    }
    let order = |text: &str| {
        let digits = text
            .find(|c: char| c.is_ascii_digit())
            .unwrap_or(text.len());
        let number: u64 = text[digits..]
            .chars()
            .take_while(char::is_ascii_digit)
            .collect::<String>()
            .parse()
            .unwrap_or(0);
        (text[..digits].to_owned(), number, text.to_owned())
    };
    crate::order::sort_by(&mut counts, &|(a, _), (b, _)| order(a).cmp(&order(b)));
    counts
        .into_iter()
        .map(|(value, count)| Offer {
            words: format!("{} ({count})", words(&value)),
            value,
        })
        .collect()
}

fn grade_offers(grades: &[Grade]) -> Vec<Offer> {
    const ALL: [Grade; 5] = [
        Grade::Clear,
        Grade::SlightlyMilky,
        Grade::Veil,
        Grade::HalfCovering,
        Grade::Covering,
    ];
    ALL.into_iter()
        .filter_map(|grade| {
            let count = grades.iter().filter(|&&other| other == grade).count();
            (count > 0).then(|| Offer {
                value: grade_value(grade),
                words: format!("{} ({count})", grade.phrase()),
            })
        })
        .collect()
}

fn damaged_row(id: u32, problem: &Problem) -> Row {
    Row {
        id,
        name: format!("Paint {id}, damaged"),
        headline: String::new(),
        milk: String::new(),
        detail: String::new(),
        strip: String::new(),
        strip_words: String::new(),
        predicts: false,
        problem: Some(problem.clone()),
        readings: Vec::new(),
        together: String::new(),
    }
}
