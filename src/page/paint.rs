//! A paint as the page shows it.

use serde::{Deserialize, Serialize};

use super::{Problem, Tone};
use crate::{
    Error, Result,
    card::Ground,
    chart,
    colour::{self, Lab, Xyz},
    paint::{
        Record,
        file::{self, Cell, Label, Measure, ScannerKind, Scrap, State, Tint},
        verdict,
    },
    picture::{self, coat},
    spectrum::{self, BANDS},
};

/// What is written on a tube and on its card, as the page's form has it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct LabelData {
    /// Label of the record.
    #[serde(flatten)]
    pub label: Label,
    /// What set the films' thickness.
    pub gauge: String,
    /// Weight of the middle film in g per square metre, as typed.
    pub weighed: String,
}

/// Everything the page shows of one paint.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PaintView {
    /// Its name, or words for a tube without one.
    pub name: String,
    /// What is written on the tube.
    pub label: LabelData,
    /// Verdict in a few words.
    pub headline: String,
    /// Verdict in a sentence.
    pub sentence: String,
    /// What else belongs to it: the films as drawn, a bound nearby.
    pub more: Vec<String>,
    /// Verdict in two or three words.
    pub short: String,
    /// Milk on black with its range, in words; empty where there is none.
    pub milk: String,
    /// What was noticed while reading.
    pub findings: Vec<Problem>,
    /// The drawn strip as SVG, long, as the paint's head.
    pub strip: String,
    /// The same, short, as one of many.
    pub strip_small: String,
    /// The strip in words.
    pub strip_words: String,
    /// Whether there are constants to predict from.
    pub predicts: bool,
    /// Builds of the card's films.
    pub films: Vec<f64>,
    /// Least and most build that the page pulls a film to.
    pub pull: [f64; 2],
    /// Measured beside fitted.
    pub cells: Vec<CellRow>,
    /// Films in numbers.
    pub film_rows: Vec<FilmRow>,
    /// K and S as SVG; empty without constants.
    pub curves: String,
    /// The curves in words.
    pub curves_words: String,
    /// Which film hides, in words.
    pub hiding: String,
    /// Colour too thick to see through.
    pub masstone: Option<Tone>,
    /// Colour of the thinnest film over white.
    pub undertone: Option<Tone>,
    /// Facts of the scan: name and value.
    pub scan: Vec<[String; 2]>,
    /// The painter's own coats, by way of working.
    pub coats: Vec<OwnCoat>,
    /// Tints of known ratio that are kept with it.
    pub tints: Vec<TintRow>,
}

/// One tint.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TintRow {
    /// Its place among all tints of the tube.
    pub place: usize,
    /// Its parts, and where its colour came from.
    pub words: String,
    /// The tint, too thick to see through.
    pub tone: Tone,
}

/// The painter's coat by one way of working, and the scraps that it rests on.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OwnCoat {
    /// Way of working and coat, in words.
    pub words: String,
    /// Its scraps.
    pub scraps: Vec<ScrapRow>,
}

/// One scrap.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ScrapRow {
    /// Its place among all scraps of the tube.
    pub place: usize,
    /// Where it came from.
    pub from: String,
    /// The colour below and the dry scrap; none for a lane of the card.
    pub tones: Vec<Tone>,
}

/// One film over one ground.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CellRow {
    /// From 1, top of the card first.
    pub film: usize,
    /// What lies under it.
    pub ground: Ground,
    /// Measured, for the screen.
    pub measured_css: String,
    /// What the constants give, for the screen.
    pub fitted_css: String,
    /// Measured.
    pub measured_lab: [f64; 3],
    /// CIEDE2000 between the two.
    pub difference: f64,
    /// Share of pixels left out, 0 to 1.
    pub rejected_share: f64,
}

/// One film of the card.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FilmRow {
    /// Build in units of the reference film.
    pub build: f64,
    /// Its standard deviation.
    pub build_sd: f64,
    /// Whether it is the reference film.
    pub reference: bool,
    /// Y over black / Y over white.
    pub contrast_ratio: Option<f64>,
}

/// Size of the long strip, in pixels of its own.
const STRIP: [f64; 2] = [440.0, 100.0];
/// Size of the short one.
const STRIP_SMALL: [f64; 2] = [180.0, 84.0];

impl PaintView {
    /// The view of a record.
    ///
    /// # Errors
    /// When the curves cannot be drawn.
    pub fn of(record: &Record) -> Result<Self> {
        let predicts = record.absorption.len() == BANDS;
        let name = record.paint.name_or_unnamed().to_owned();
        let builds: Vec<f64> = record.films.iter().map(|film| film.build).collect();
        let words = verdict_of(record);
        let short = short_verdict(record);
        Ok(Self {
            label: LabelData {
                label: record.paint.clone(),
                gauge: record.gauge.clone().unwrap_or_default(),
                weighed: record
                    .film_weight
                    .map_or_else(String::new, |weight| weight.to_string()),
            },
            strip: chart::strip(record, STRIP[0], STRIP[1]),
            strip_small: strip_small(record),
            strip_words: strip_words(&name, record, predicts),
            pull: pull_span(&builds),
            films: builds,
            cells: record.cells.iter().map(cell_row).collect(),
            film_rows: film_rows(record),
            curves: if predicts {
                chart::curves(record)?
            } else {
                String::new()
            },
            curves_words: if predicts {
                curves_words(record)
            } else {
                String::new()
            },
            hiding: hiding_words(record),
            masstone: record.opacity.masstone_lab.map(tone),
            undertone: record.opacity.undertone_lab.map(tone),
            scan: scan_facts(record),
            coats: own_coats(record),
            tints: tint_rows(record),
            findings: record
                .findings
                .iter()
                .map(|finding| Problem {
                    code: finding.code.clone(),
                    words: finding.words.clone(),
                })
                .collect(),
            headline: words.headline,
            sentence: words.thinned,
            more: std::iter::once(words.drawn).chain(words.near).collect(),
            short,
            milk: record
                .opacity
                .milk_on_black
                .zip(record.opacity.milk_sd)
                .map_or_else(String::new, |(milk, sd)| verdict::milk_words(milk, sd)),
            predicts,
            name,
        })
    }
}

/// The drawn strip, short.
pub(super) fn strip_small(record: &Record) -> String {
    chart::strip(record, STRIP_SMALL[0], STRIP_SMALL[1])
}

fn own_coats(record: &Record) -> Vec<OwnCoat> {
    let constants = record.constants().ok();
    let mut ways: Vec<&str> = Vec::new();
    for scrap in &record.coats {
        if !ways.iter().any(|way| coat::same_way(way, &scrap.way)) {
            ways.push(&scrap.way);
        }
    }
    ways.into_iter()
        .map(|way| {
            let scraps = record.coats.iter().enumerate();
            let scraps = scraps.filter(|(_, scrap)| coat::same_way(way, &scrap.way));
            let told: Vec<_> = scraps
                .clone()
                .filter_map(|(_, scrap)| coat::told_by(constants.as_ref()?, record, scrap))
                .collect();
            let words = coat::together(&told).map_or_else(
                || "these scraps do not tell how thick".to_owned(),
                |coat| coat.words(),
            );
            OwnCoat {
                words: match way.trim() {
                    "" => format!("My coat: {words}."),
                    way => format!("My coat by {way}: {words}."),
                },
                scraps: scraps
                    .map(|(place, scrap)| ScrapRow {
                        place,
                        from: scrap.from.clone(),
                        tones: scrap
                            .over
                            .iter()
                            .chain(&scrap.painted)
                            .map(|colour| tone(colour.lab))
                            .collect(),
                    })
                    .collect(),
            }
        })
        .collect()
}

fn tint_rows(record: &Record) -> Vec<TintRow> {
    let rows = record.tints.iter().enumerate();
    rows.map(|(place, of)| TintRow {
        place,
        words: format!("{}; {}", tint_name(of), of.from),
        tone: tone(of.colour.lab),
    })
    .collect()
}

/// `1 part to 10 of foam white, by weight`.
pub(super) fn tint_name(of: &Tint) -> String {
    format!(
        "{} {} to {} of {}, by {}",
        of.parts,
        if of.parts == 1.0 { "part" } else { "parts" },
        of.with_parts,
        match of.with.name.trim() {
            "" => "a paint without a name",
            name => name,
        },
        match of.by {
            Measure::Volume => "volume",
            Measure::Weight => "weight",
        }
    )
}

/// The record with one of its films, the place of which counts from 0, kept as one coat as the painter lays it.
///
/// # Errors
/// [`Error::Refused`] where there is no such film, or it is kept as one already.
pub fn with_coat(mut record: Record, film: usize, way: &str) -> Result<Record> {
    let refused = |words: String| Err(Error::Refused(words));
    if film >= record.films.len() {
        return refused("This card has no such film. Open the tube again.".to_owned());
    }
    let way = way.trim();
    if way.chars().count() > file::LONGEST_TEXT {
        return refused("Say in a few words what it was laid on by.".to_owned());
    }
    if record.coats.iter().any(|scrap| scrap.film == Some(film)) {
        return refused(format!(
            "Film {} is kept as your coat already. Take that away first.",
            film + 1
        ));
    }
    if record.coats.len() >= file::MOST_ENTRIES {
        return refused(format!(
            "More than {} scraps of one tube cannot be kept. Take old ones away first.",
            file::MOST_ENTRIES
        ));
    }
    record.coats.push(Scrap {
        way: way.to_owned(),
        coats: 1.0,
        film: Some(film),
        over: None,
        painted: None,
        from: format!("film {} of the card", film + 1),
    });
    Ok(record)
}

/// The record without one of its tints.
///
/// # Errors
/// [`Error::Refused`] where there is no such tint.
pub fn without_tint(mut record: Record, place: usize) -> Result<Record> {
    if place >= record.tints.len() {
        return Err(Error::Refused(
            "This tint is no longer kept. Open the tube again.".to_owned(),
        ));
    }
    record.tints.remove(place);
    Ok(record)
}

/// What the change of a kept paint was, as it is offered to be taken back.
pub fn change_words(seen: &str, after: &Record) -> String {
    let name = after.paint.name_or_unnamed();
    let Ok(before) = Record::read(seen) else {
        return format!("writing over what was kept of {name}");
    };
    let list = |had: usize, has: usize, what: &str| match has {
        _ if has > had => format!("adding a {what} to {name}"),
        _ if has < had => format!("taking a {what} from {name}"),
        _ => format!("changing a {what} of {name}"),
    };
    let measured = |record: &Record| {
        let on_card = (record.films.clone(), record.findings.clone());
        (record.cells.clone(), record.absorption.clone(), on_card)
    };
    let answered = |record: &Record| {
        let on = (record.surface, record.provenance.scanner);
        (on, record.dry.clone(), record.stripes.sealed)
    };
    if measured(&before) != measured(after) || answered(&before) != answered(after) {
        format!("the new reading of {name}")
    } else if before.tints != after.tints {
        list(before.tints.len(), after.tints.len(), "tint")
    } else if before.coats != after.coats {
        list(before.coats.len(), after.coats.len(), "coat of yours")
    } else if before.paint.name != after.paint.name {
        format!("renaming {} to {name}", before.paint.name_or_unnamed())
    } else {
        format!("changing the label of {name}")
    }
}

/// The record without one of its scraps.
///
/// # Errors
/// [`Error::Refused`] where there is no such scrap.
pub fn without_scrap(mut record: Record, place: usize) -> Result<Record> {
    if place >= record.coats.len() {
        return Err(Error::Refused(
            "This scrap is no longer kept. Open the tube again.".to_owned(),
        ));
    }
    record.coats.remove(place);
    Ok(record)
}

fn tone([l, a, b]: [f64; 3]) -> Tone {
    Lab::new(l, a, b).into()
}

/// The record's verdict in words.
pub(super) fn verdict_of(record: &Record) -> verdict::Verdict {
    let opacity = &record.opacity;
    let thickest = (0..record.films.len())
        .max_by(|&i, &j| record.films[i].build.total_cmp(&record.films[j].build))
        .unwrap_or(0);
    verdict::words(
        record.state,
        opacity.grade,
        opacity.milk_on_black.zip(opacity.milk_sd),
        opacity.contrast_ratio.get(thickest).copied().unwrap_or(0.0),
        opacity.masstone_lab.map(|[l, a, b]| Lab::new(l, a, b)),
    )
}

/// The verdict in two or three words.
pub(super) fn short_verdict(record: &Record) -> String {
    let headline = verdict_of(record).headline;
    match record.opacity.grade {
        Some(grade) if headline == grade.headline() => grade.phrase().to_owned(),
        _ => headline.trim_end_matches('.').to_lowercase(),
    }
}

/// Builds that the page lets a film be pulled to: well below the thinnest of the card, and at least three of its middle films.
fn pull_span(builds: &[f64]) -> [f64; 2] {
    let [least, most] = chart::strip_span(builds);
    [least.max(0.01), most.clamp(3.2, picture::MOST_BUILD)]
}

fn cell_row(cell: &Cell) -> CellRow {
    let lab = |[x, y, z]: [f64; 3]| colour::lab(Xyz::new(x, y, z));
    let (measured, fitted) = (Tone::from(lab(cell.xyz)), Tone::from(lab(cell.fitted_xyz)));
    CellRow {
        film: cell.film + 1,
        ground: cell.ground,
        measured_css: measured.css,
        fitted_css: fitted.css,
        measured_lab: measured.lab,
        difference: cell.de00,
        rejected_share: cell.rejected_share,
    }
}

fn film_rows(record: &Record) -> Vec<FilmRow> {
    record
        .films
        .iter()
        .enumerate()
        .map(|(i, film)| FilmRow {
            build: film.build,
            build_sd: film.build_sd,
            reference: i == record.reference_film,
            contrast_ratio: record.opacity.contrast_ratio.get(i).copied(),
        })
        .collect()
}

fn strip_words(name: &str, record: &Record, predicts: bool) -> String {
    let lab = |lab: Option<[f64; 3]>| {
        lab.map_or("unknown".to_owned(), |[l, a, b]| {
            format!("L* {l:.0}, a* {a:.0}, b* {b:.0}")
        })
    };
    if predicts {
        format!(
            "{name} as a drawn film over white and over black, from bare to thick. Undertone {}; masstone {}.",
            lab(record.opacity.undertone_lab),
            lab(record.opacity.masstone_lab)
        )
    } else {
        format!("{name}: the measured cells of its card.")
    }
}

/// Where K and S are largest and least.
fn curves_words(record: &Record) -> String {
    let nm = spectrum::wavelengths();
    let extremes = |values: &[f64]| {
        let by = |i: &usize, j: &usize| values[*i].total_cmp(&values[*j]);
        let most = (0..BANDS).max_by(by).unwrap_or(0);
        let least = (0..BANDS).min_by(by).unwrap_or(0);
        format!(
            "largest at {:.0} nm ({:.3}), least at {:.0} nm ({:.3})",
            nm[most], values[most], nm[least], values[least]
        )
    };
    format!(
        "Absorption K: {}. Scattering S: {}. Per build, the middle film of the card.",
        extremes(&record.absorption),
        extremes(&record.scattering)
    )
}

fn hiding_words(record: &Record) -> String {
    let note = "Contrast ratio is Y over black divided by Y over white, in the films as drawn; it is meant for light paints (Y above 0.15 to 0.25) and calls a dark clear film hiding too.";
    match (record.opacity.hiding_build, record.state) {
        (Some(build), _) => {
            format!("A film of {build:.1} × the middle film hides (contrast ratio 0.98). {note}")
        }
        (None, State::Known | State::OneFilm | State::ScatterAtMost) => {
            format!(
                "No film up to ten times the thickest on the card hides (contrast ratio 0.98). {note}"
            )
        }
        (None, _) => note.to_owned(),
    }
}

/// `2026-11-25, 15:36 UTC` of a time such as `2026-11-25T15:36:36.905Z`; anything else as it is.
fn when_words(when: &str) -> String {
    match when.split_once('T') {
        Some((day, time)) if time.len() >= 5 && time.is_ascii() && time.ends_with('Z') => {
            format!("{day}, {} UTC", &time[..5])
        }
        _ => when.to_owned(),
    }
}

fn scan_facts(record: &Record) -> Vec<[String; 2]> {
    let from = &record.provenance;
    let fact = |name: &str, value: String| [name.to_owned(), value];
    let mut facts = vec![
        fact("File", from.file_name.clone()),
        fact(
            "Size",
            format!(
                "{} × {} pixels, {} bits a channel",
                from.size[0], from.size[1], from.depth
            ),
        ),
        fact("Profile", from.profile.clone()),
        fact("Dry", record.dry.0.clone()),
        fact("Surface", format!("{:?}", record.surface).to_lowercase()),
        fact(
            "Card",
            if record.stripes.sealed {
                "sealed or painted"
            } else {
                "bare paper"
            }
            .to_owned(),
        ),
        fact(
            "Scanner",
            match from.scanner {
                ScannerKind::Unknown => "kind not known",
                ScannerKind::WhiteLight => "white light",
                ScannerKind::ThreeLights => "three colours",
            }
            .to_owned(),
        ),
        fact(
            "Printed card",
            from.card_number
                .map_or_else(String::new, |number| format!("{number:04}")),
        ),
        fact("White", record.basis.white_reference.clone()),
        fact(
            "Black",
            record.basis.black_reference.clone().unwrap_or_default(),
        ),
        fact("Read", when_words(&from.when)),
        fact("By", from.program.clone()),
    ];
    facts.retain(|[_, value]| !value.is_empty());
    facts
}

/// The record with another label.
///
/// # Errors
/// When a text is too long.
pub fn relabel(mut record: Record, data: LabelData) -> Result<Record> {
    data.label.check()?;
    if data.gauge.chars().count() > file::LONGEST_TEXT {
        return Err(Error::PigmentFile {
            field: "gauge".into(),
            reason: format!(
                "is longer than {} characters. Shorten it",
                file::LONGEST_TEXT
            ),
        });
    }
    record.film_weight = match data.weighed.trim() {
        "" => None,
        text => {
            let [least, most] = file::FILM_WEIGHT;
            let weight: Option<f64> = text.replace(',', ".").parse().ok();
            Some(weight.filter(|w| (least..=most).contains(w)).ok_or_else(|| {
                Error::Refused(
                    "Give the weight of the middle film as one number, in grams for a square metre, or leave it empty."
                        .to_owned(),
                )
            })?)
        }
    };
    record.paint = data.label;
    record.gauge = Some(data.gauge).filter(|gauge| !gauge.trim().is_empty());
    Ok(record)
}

/// A name for the exported file: the paint's, in letters and digits that every system takes.
pub fn file_name(record: &Record) -> String {
    let mut stem = String::new();
    for c in record.paint.name.trim().to_lowercase().chars() {
        if c.is_alphanumeric() {
            stem.push(c);
        } else if !stem.ends_with('-') && !stem.is_empty() {
            stem.push('-');
        }
    }
    let stem: String = stem.trim_end_matches('-').chars().take(60).collect();
    format!("{}.json", if stem.is_empty() { "paint" } else { &stem })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_offered_to_be_taken_back_says_what_it_is() {
        let sample = include_str!("../../sample-scans/storm-blue.pigment.json");
        let before = Record::read(sample).unwrap();
        let said = |change: &dyn Fn(&mut Record)| {
            let mut after = before.clone();
            change(&mut after);
            (change_words(&before.write(), &after), after)
        };
        let (words, _) = said(&|after| after.paint.name = "Sea".to_owned());
        assert_eq!(
            words,
            format!("renaming {} to Sea", before.paint.name_or_unnamed())
        );
        let (words, _) = said(&|after| {
            after.paint.name = "Sea".to_owned();
            after.absorption[3] *= 1.1;
        });
        assert_eq!(words, "the new reading of Sea");
        let name = before.paint.name_or_unnamed();
        let (words, _) = said(&|after| after.paint.batch = "7".to_owned());
        assert_eq!(words, format!("changing the label of {name}"));
        let with = with_coat(before.clone(), 1, "brush").unwrap();
        let words = change_words(&before.write(), &with);
        assert_eq!(words, format!("adding a coat of yours to {name}"));
        let words = change_words(&with.write(), &before);
        assert_eq!(words, format!("taking a coat of yours from {name}"));
        let words = change_words("{", &before);
        assert_eq!(words, format!("writing over what was kept of {name}"));
    }
}
