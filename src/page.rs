//! What the page shows, without a browser: the words and numbers of a paint, of a prediction, of an open scan.
//!
//! Everything here is plain data, named as the page's JavaScript (`www/types.js`) names it; `web` only hands it over.

mod card;
mod class;
mod glaze;
mod paint;
mod paper;
mod picture;
mod reread;
mod shelf;

use serde::Serialize;

use crate::{
    Error,
    colour::{self, Lab, ScreenSpace},
};

pub use card::{CardView, OpenScan};
pub use class::{ClassRow, Together, class_row, class_rows, class_together};
pub use glaze::Glaze;
pub use paint::{
    LabelData, PaintView, change_words, file_name, relabel, with_coat, without_scrap, without_tint,
};
pub use paper::{PlanSheet, WallView};
pub use picture::{
    Change, GlassSpot, GlassView, GreysView, Held, MixView, NewTint, OpenGlass, OpenPicture, Part,
    PickFrom, PickView, PictureView, TubesView, WantedView, Way, Window,
};
pub use reread::{Reread, reread};
pub use shelf::{Ask, CompareView, OpenShelf, ShelfView};

/// Why something is not there: `code` for programs, `words` for the painter.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Problem {
    /// [`Error::code`].
    pub code: String,
    /// The sentence.
    pub words: String,
}

impl From<&Error> for Problem {
    fn from(error: &Error) -> Self {
        Self {
            code: error.code().to_owned(),
            words: error.to_string(),
        }
    }
}

/// A colour, as numbers and for the screen.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Tone {
    /// `#rrggbb`, sRGB.
    pub css: String,
    /// L*, a*, b*, D50.
    pub lab: [f64; 3],
    /// Whether it is stronger than the screen's colours (sRGB) can show.
    pub cut: bool,
    /// For a screen that shows Display-P3, where sRGB cuts the colour.
    pub wide: Option<Wide>,
}

/// A colour for a screen that shows Display-P3.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Wide {
    /// `color(display-p3 r g b)` (CSS Color Module Level 4).
    pub css: String,
    /// Whether it is stronger than that, too.
    pub cut: bool,
}

impl From<Lab> for Tone {
    fn from(lab: Lab) -> Self {
        let screen = colour::screen(lab);
        Self {
            css: screen.hex(),
            lab: [lab.l, lab.a, lab.b],
            cut: screen.cut,
            wide: screen.cut.then(|| {
                let ([r, g, b], cut) = colour::encoded(lab, ScreenSpace::DisplayP3);
                Wide {
                    css: format!("color(display-p3 {r:.4} {g:.4} {b:.4})"),
                    cut,
                }
            }),
        }
    }
}

/// A CIEDE2000 in words (bounds common among printers and painters, no source): what a painter would make of it. By the number as it
/// stands beside them, in tenths.
pub fn difference_word(difference: f64) -> &'static str {
    let tenths = (10.0 * difference).round();
    if tenths < 10.0 {
        "hardly seen"
    } else if tenths <= 30.0 {
        "seen side by side"
    } else {
        "seen plainly"
    }
}

#[cfg(test)]
mod tests {
    use std::{
        fs,
        path::{Path, PathBuf},
    };

    use super::*;

    /// Sentences have typographic apostrophes, as all of the page has: none is straight after a word, outside of comments and tests.
    #[test]
    fn apostrophes_are_typographic() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let mut open: Vec<PathBuf> = ["src", "www"].map(|folder| root.join(folder)).into();
        let (mut files, mut straight) = (0, Vec::new());
        while let Some(path) = open.pop() {
            if path.is_dir() {
                let entries = fs::read_dir(&path).expect("a folder");
                open.extend(entries.map(|entry| entry.expect("an entry").path()));
                continue;
            }
            // What the terminal prints stays in ASCII.
            if path.components().any(|part| part.as_os_str() == "bin")
                || path
                    .extension()
                    .is_none_or(|kind| kind != "rs" && kind != "js" && kind != "html")
            {
                continue;
            }
            files += 1;
            let text = fs::read_to_string(&path).expect("a text");
            for line in text.lines().take_while(|line| *line != "#[cfg(test)]") {
                let code = line.trim_start();
                // Said to no painter: the policy, what only a fault of the program says, and a field of the pigment file.
                let other = [
                    "//",
                    "*",
                    "/*",
                    r#"content="default-src"#,
                    ".expect(",
                    "pub const FILM_UNIT:",
                ];
                if other.iter().any(|start| code.starts_with(start)) {
                    continue;
                }
                let code: Vec<char> = code.split(" // ").next().unwrap_or(code).chars().collect();
                let of_a_word = |four: &[char]| {
                    four[..2].iter().all(char::is_ascii_alphabetic)
                        && four[2] == '\''
                        && (four[3].is_ascii_alphabetic() || four[3] == ' ')
                };
                if code.windows(4).any(of_a_word) {
                    straight.push(format!("{}: {line}", path.display()));
                }
            }
        }
        assert!(files > 100, "{files} files");
        assert!(straight.is_empty(), "{straight:#?}");
    }

    /// The green primary of Display-P3 (SMPTE EG 432-1: x 0.265, y 0.690), as CSS Color Module Level 4 works it out:
    /// `lab(86.61% -106.54 102.87)`, far outside sRGB.
    #[test]
    fn a_colour_between_the_two_screens_is_given_for_the_wider_one() {
        let green = Tone::from(Lab::new(86.6, -105.0, 101.0));
        let wide = green.wide.expect("sRGB cuts it");
        assert!(green.cut && !wide.cut, "{wide:?}");
        let beyond = Tone::from(Lab::new(86.6, -112.0, 101.0));
        assert!(beyond.wide.expect("sRGB cuts it").cut);
        assert_eq!(Tone::from(Lab::new(50.0, 10.0, 10.0)).wide, None);
    }

    #[test]
    fn a_difference_is_put_in_words_at_1_and_3() {
        // As they stand in tenths beside the words: 0.9, 1.0, 3.0, 3.1.
        assert_eq!(difference_word(0.94), "hardly seen");
        assert_eq!(difference_word(0.99), "seen side by side");
        assert_eq!(difference_word(3.04), "seen side by side");
        assert_eq!(difference_word(3.06), "seen plainly");
    }

    #[test]
    fn a_problem_carries_the_errors_own_sentence() {
        let error = Error::NoCard;
        let problem = Problem::from(&error);
        assert_eq!(problem.code, "no-card");
        assert_eq!(problem.words, error.to_string());
    }
}
