//! Many scans at once: every card of every file as a row of one table, failures among them with what to do.

use serde::Serialize;

use super::{Ask, OpenScan, OpenShelf, PaintView, Problem};
use crate::{Error, Result, reading::Answers};

/// One card of one file, or a file in which none was read.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClassRow {
    /// Name of the file.
    pub file: String,
    /// Which card of the file, from 1.
    pub card: usize,
    /// The printed card's number.
    pub number: Option<u32>,
    /// What the tube is to be called: the card's own label, or a name made from number or file.
    pub name: String,
    /// The pigment file to be kept.
    pub text: Option<String>,
    /// Verdict, strip and all else.
    pub paint: Option<PaintView>,
    /// Why nothing was read.
    pub problem: Option<Problem>,
    /// What is to be looked at before it is relied on.
    pub ask: String,
}

/// Tubes of which several cards are in the table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Together {
    /// Name of the tube.
    pub name: String,
    /// Mean, spread, and the odd one out, in words.
    pub words: String,
    /// Which of the texts given is the odd one out.
    pub odd: Vec<usize>,
}

/// Reads every card of a file. Never fails: a file without a card is a row that says so.
pub fn class_rows(bytes: &[u8], file: &str, when: &str, answers: &Answers) -> Vec<ClassRow> {
    let failed = |problem: &Error| {
        vec![ClassRow {
            file: file.to_owned(),
            card: 1,
            number: None,
            name: stem(file),
            text: None,
            paint: None,
            problem: Some(problem.into()),
            ask: String::new(),
        }]
    };
    let mut open = match OpenScan::new(bytes, file, when.to_owned(), false) {
        Ok(open) => open,
        Err(error) => return failed(&error),
    };
    if let Err(error) = open.answer(answers.clone()) {
        return failed(&error);
    }
    open.find();
    let mut rows = Vec::new();
    let view = match open.view() {
        Ok(view) => view,
        Err(error) => return failed(&error),
    };
    let count = view.cards.len();
    for card in 0..count {
        open.choose(card);
        open.sample();
        open.fit();
        match class_row(&open, file) {
            Ok(row) => rows.push(row),
            Err(error) => rows.extend(failed(&error)),
        }
    }
    rows
}

/// Words by which programs and cameras name what nobody has named.
const NAMELESS: [&str; 14] = [
    "scan",
    "scanned",
    "img",
    "image",
    "dsc",
    "dscn",
    "dcim",
    "photo",
    "pic",
    "picture",
    "page",
    "document",
    "untitled",
    "screenshot",
];

/// The name that a file of one card offers for its tube: its own, unless no word of it was anybody's.
pub(super) fn suggested(file: &str) -> String {
    let stem = stem(file);
    let somebodys = stem.split_whitespace().any(|word| {
        let letters = word
            .trim_matches(|c: char| !c.is_alphabetic())
            .to_lowercase();
        letters.chars().count() > 1 && !NAMELESS.contains(&letters.as_str())
    });
    if somebodys { stem } else { String::new() }
}

/// A file's name without its kind, its words apart.
fn stem(file: &str) -> String {
    let stem = file.rsplit_once('.').map_or(file, |(stem, _)| stem);
    stem.replace(['-', '_'], " ").trim().to_owned()
}

/// The card at hand of an open scan as a row.
///
/// # Errors
/// As [`OpenScan::view`].
pub fn class_row(open: &OpenScan, file: &str) -> Result<ClassRow> {
    let view = open.view()?;
    let (card, count) = (view.card, view.cards.len());
    let record = open.record().ok();
    let printed = view.printed.as_ref();
    let named = record
        .map(|record| record.paint.name.trim())
        .filter(|name| !name.is_empty());
    let name = match (named, printed) {
        (Some(name), _) => name.to_owned(),
        (None, Some(printed)) => format!("card {:04}", printed.number),
        (None, None) if count > 1 => format!("{} {}", stem(file), card + 1),
        (None, None) => stem(file),
    };
    let text = record.map(|record| {
        let mut record = record.clone();
        record.paint.name.clone_from(&name);
        record.write()
    });
    let ask = match (&view.question, &text) {
        (Some(question), Some(_)) => format!(
            "It asks: {} Open it and answer before you rely on it.",
            question.words
        ),
        _ => String::new(),
    };
    Ok(ClassRow {
        file: file.to_owned(),
        card: card + 1,
        number: printed.map(|printed| printed.number),
        name,
        text,
        problem: view.problem,
        paint: view.paint,
        ask,
    })
}

/// What several cards of one tube say together; texts are pigment files.
///
/// # Errors
/// Where a film cannot be predicted.
pub fn class_together(texts: Vec<String>) -> Result<Vec<Together>> {
    let mut shelf = OpenShelf::default();
    // Numbers are places in the list.
    shelf.use_all(
        texts
            .into_iter()
            .enumerate()
            .map(|(i, text)| (i as u32, text))
            .collect(),
    );
    let rows = shelf.list(&Ask::default())?.rows;
    Ok(rows
        .into_iter()
        .filter(|row| row.readings.len() > 1)
        .map(|row| Together {
            name: row.name,
            words: row.together,
            odd: row
                .readings
                .iter()
                .filter(|r| r.odd)
                .map(|r| r.id as usize)
                .collect(),
        })
        .collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_offers_its_name_where_somebody_gave_it_one() {
        assert_eq!(suggested("weed-amber.jpg"), "weed amber");
        assert_eq!(suggested("ochre 2.tif"), "ochre 2");
        for nameless in [
            "IMG_2034.JPG",
            "Scan 12.png",
            "scan0001.tif",
            "20261128_101500.jpg",
            "image.png",
            "DSC-1.jpeg",
            "x.png",
        ] {
            assert_eq!(suggested(nameless), "", "{nameless}");
        }
    }
}
