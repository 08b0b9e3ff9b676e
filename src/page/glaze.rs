//! Films of one paint over the underpainting, as the page shows them.

use serde::Serialize;

use super::{Tone, difference_word};
use crate::{
    Result,
    colour::{self, Lab},
    paint::{
        Constants, Record,
        file::State,
        verdict::{self, Here},
    },
    picture::{Film, Ground, Stack},
};

/// The underpainting that films are shown over: an invented one, seven greys and two flesh tones.
#[rustfmt::skip]
pub(super) const UNDERPAINTING: [(&str, [f64; 3]); 9] = [
    ("grey 1", [92.0, 0.0, 0.0]),
    ("grey 2", [81.0, 0.0, 0.0]),
    ("grey 3", [70.0, 0.0, 0.0]),
    ("grey 4", [59.0, 0.0, 0.0]),
    ("grey 5", [48.0, 0.0, 0.0]),
    ("grey 6", [37.0, 0.0, 0.0]),
    ("grey 7", [26.0, 0.0, 0.0]),
    ("light flesh", [65.0, 25.0, 19.0]),
    ("dark flesh", [44.0, 21.0, 18.0]),
];

/// What every range rests on.
pub(super) const RESTS_ON: &str = "Tested on simulated cards only; no real card yet.";

/// How far off the real film may be, in words.
pub(super) fn at_most_word(range: f64) -> &'static str {
    match difference_word(range) {
        "hardly seen" => "you would hardly see the difference",
        "seen side by side" => "a difference you would see side by side, at most",
        _ => "it may differ plainly",
    }
}

/// Films of one paint over the underpainting.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Glaze {
    /// The bare colours.
    pub before: Vec<Bare>,
    /// One for each build asked for.
    pub after: Vec<Layer>,
    /// What the first of them does here, in a few words.
    pub headline: String,
    /// The same in a sentence.
    pub sentence: String,
    /// Lights and darks before and after.
    pub span: String,
    /// The range, and what it rests on.
    pub range_words: String,
    /// What else to know.
    pub notes: Vec<String>,
}

/// A colour of the underpainting.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Bare {
    /// Its name.
    pub name: &'static str,
    /// The colour.
    #[serde(flatten)]
    pub tone: Tone,
}

/// One film over every colour.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Layer {
    /// In units of the card's reference film.
    pub build: f64,
    /// The colours seen, in the order of the underpainting.
    pub spots: Vec<Spot>,
}

/// One colour under a film.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Spot {
    /// The colour.
    #[serde(flatten)]
    pub tone: Tone,
    /// CIEDE2000 that holds nine times in ten.
    pub range: f64,
    /// The range in words.
    pub word: &'static str,
}

impl Glaze {
    /// Films of the given builds. Words are about the first.
    ///
    /// # Errors
    /// For a paint without constants and for a build that cannot be predicted.
    pub fn of(record: &Record, constants: &Constants, builds: &[f64]) -> Result<Self> {
        let grounds = UNDERPAINTING.map(|(_, [l, a, b])| Ground::of(Lab::new(l, a, b)));
        let stacks = builds
            .iter()
            .map(|&build| Stack::new(&[constants], &[Film { paint: 0, build }]))
            .collect::<Result<Vec<_>>>()?;
        let after: Vec<Layer> = stacks
            .iter()
            .zip(builds)
            .map(|(stack, &build)| layer(stack, build, &grounds))
            .collect();
        let before = UNDERPAINTING
            .iter()
            .zip(&grounds)
            .map(|((name, _), ground)| Bare {
                name,
                tone: ground.lab.into(),
            })
            .collect();
        let mut glaze = Self {
            before,
            after,
            headline: String::new(),
            sentence: String::new(),
            span: String::new(),
            range_words: String::new(),
            notes: Vec::new(),
        };
        if let (Some(stack), Some(layer)) = (stacks.first(), glaze.after.first()) {
            let here: Vec<Here> = grounds
                .iter()
                .map(|ground| stack.verdict_over(ground))
                .collect();
            let spans = [
                span(glaze.before.iter().map(|bare| bare.tone.lab[0])),
                span(layer.spots.iter().map(|spot| spot.tone.lab[0])),
            ];
            let names: Vec<&str> = glaze.before.iter().map(|bare| bare.name).collect();
            let change = glaze
                .before
                .iter()
                .zip(&layer.spots)
                .map(|(bare, spot)| colour::difference(lab(bare.tone.lab), lab(spot.tone.lab)))
                .fold(0.0, f64::max);
            let rises: Vec<f64> = glaze
                .before
                .iter()
                .zip(&layer.spots)
                .map(|(bare, spot)| spot.tone.lab[0] - bare.tone.lab[0])
                .collect();
            let (headline, sentence) = verdict_words(&here, &rises, &names, change, spans);
            let range = layer
                .spots
                .iter()
                .map(|spot| spot.range)
                .fold(0.0, f64::max);
            let notes = notes(record, layer);
            glaze.headline = headline;
            glaze.sentence = sentence;
            glaze.span = span_words(spans);
            glaze.range_words = format!(
                "Nine times in ten the real film is within {range:.1} CIEDE2000 of this, on every colour: {}. {RESTS_ON}",
                at_most_word(range)
            );
            glaze.notes = notes;
        }
        Ok(glaze)
    }
}

fn layer(stack: &Stack, build: f64, grounds: &[Ground]) -> Layer {
    let spots = grounds
        .iter()
        .map(|ground| {
            let seen = stack.over(ground);
            Spot {
                tone: seen.lab.into(),
                range: seen.range,
                word: difference_word(seen.range),
            }
        })
        .collect();
    Layer { build, spots }
}

/// L* between the lightest and the darkest.
pub(super) fn span(lightness: impl Iterator<Item = f64>) -> f64 {
    let (least, most) = lightness.fold((f64::INFINITY, 0.0), |(least, most), l| {
        (f64::min(least, l), f64::max(most, l))
    });
    (most - least).max(0.0)
}

pub(super) fn span_words([before, after]: [f64; 2]) -> String {
    let fate = if after < 0.2 * before {
        " The drawing is gone."
    } else if after < 0.5 * before {
        " The drawing is going."
    } else {
        ""
    };
    format!("Lights and darks: {before:.0} L* apart before, {after:.0} after.{fate}")
}

/// What films do over colours of these names: a headline and a sentence. `rises` are in L*, `change` is the largest CIEDE2000 of before
/// to after, the spans are those of L* before and after.
pub(super) fn verdict_words(
    here: &[Here],
    rises: &[f64],
    names: &[&str],
    change: f64,
    [span_before, span_after]: [f64; 2],
) -> (String, String) {
    let one = names.len() == 1;
    if change < 1.0 {
        let on = if one {
            "this colour"
        } else {
            "any of these colours"
        };
        return (
            "Hardly there.".into(),
            format!("At this thickness you would hardly see it on {on}."),
        );
    }
    if here.contains(&Here::Covering) || span_after < verdict::HARDLY_LEFT * span_before {
        let sentence = if one {
            "What lies below can hardly be seen under it."
        } else {
            "Lights and darks can hardly be told apart under it."
        };
        return ("Covers.".into(), sentence.into());
    }
    let veiled = || (0..here.len()).filter(|&i| here[i] == Here::Veil);
    let lifted: Vec<&str> = veiled().map(|i| names[i]).collect();
    let most = veiled().map(|i| rises[i]).fold(0.0, f64::max);
    match lifted.len() {
        n if n > 0 && verdict::is_slight(most) => (
            "Glazes, slightly milky.".into(),
            if n == here.len() {
                format!(
                    "It lightens {} a little, by {most:.0} L* at most.",
                    if one {
                        "this colour"
                    } else {
                        "every one of these colours"
                    }
                )
            } else {
                format!(
                    "It lifts {} a little, by {most:.0} L* at most; over the others it glazes.",
                    listed(&lifted)
                )
            },
        ),
        0 => {
            // As `span_words` has it, and colours alike in lightness are no drawing.
            let fate = match span_after / span_before {
                _ if span_before < 5.0 => "what lies below shows through",
                share if share < 0.2 => "hardly anything of your drawing is left",
                share if share < 0.5 => "your drawing goes down with it",
                _ => "your drawing stays",
            };
            ("Glazes.".into(), format!("It darkens and colours; {fate}."))
        }
        n if n == here.len() => (
            "Veils.".into(),
            format!(
                "It lightens {}: a velatura, the milky veil.",
                if one {
                    "this colour"
                } else {
                    "every one of these colours"
                }
            ),
        ),
        n if 2 * n > here.len() => (
            "Veils all but your lights.".into(),
            format!("It lifts {}: a velatura, the milky veil.", listed(&lifted)),
        ),
        _ => (
            "Goes milky over your darks.".into(),
            format!("It lifts {}; over the others it glazes.", listed(&lifted)),
        ),
    }
}

fn lab([l, a, b]: [f64; 3]) -> Lab {
    Lab::new(l, a, b)
}

/// `a, b and c`.
pub(super) fn listed(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

fn notes(record: &Record, layer: &Layer) -> Vec<String> {
    let builds = || record.films.iter().map(|film| film.build);
    let thinnest = builds().fold(f64::INFINITY, f64::min);
    let thickest = record.thickest();
    let mut notes = Vec::new();
    if layer.build > 1.01 * thickest {
        notes.push("Thicker than any film on the card: beyond what was measured.".to_owned());
    } else if layer.build < 0.99 * thinnest {
        notes.push("Thinner than any film on the card: beyond what was measured.".to_owned());
    }
    if layer
        .spots
        .iter()
        .any(|spot| colour::screen(lab(spot.tone.lab)).cut)
    {
        notes.push(
            "Some of these colours are stronger than sRGB can show; the screen shows them duller."
                .to_owned(),
        );
    }
    if record.dry.0 == "no" {
        notes.push("The card was not dry when it was scanned: dry paint will differ.".to_owned());
    }
    if !matches!(record.state, State::Known) {
        notes.push(verdict::state_words(record.state).to_owned());
    }
    let more = [
        verdict::guess_words(record.state, layer.build, thinnest),
        verdict::surface_words(record.surface, record.reads_dull()),
    ];
    notes.extend(
        more.into_iter()
            .filter(|words| !words.is_empty())
            .map(str::to_owned),
    );
    notes
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(here: &[Here]) -> (String, String) {
        let names = UNDERPAINTING.map(|(name, _)| name);
        verdict_words(here, &vec![9.0; here.len()], &names, 20.0, [66.0, 48.0])
    }

    #[test]
    fn the_verdict_names_the_colours_that_are_lifted() {
        let mut here = [Here::Glaze; 9];
        assert_eq!(words(&here).0, "Glazes.");
        here[5] = Here::Veil;
        here[6] = Here::Veil;
        let (headline, sentence) = words(&here);
        assert_eq!(headline, "Goes milky over your darks.");
        assert_eq!(
            sentence,
            "It lifts grey 6 and grey 7; over the others it glazes."
        );
        assert_eq!(words(&[Here::Veil; 9]).0, "Veils.");
        here[0] = Here::Covering;
        assert_eq!(words(&here).0, "Covers.");
    }

    /// As of a tube: what lifts black by less than 3 is no veil yet.
    #[test]
    fn a_small_lift_is_slightly_milky() {
        let here = [Here::Glaze, Here::Veil, Here::Veil];
        let words = |most| {
            verdict_words(
                &here,
                &[-8.0, 1.1, most],
                &["light", "grey 6", "grey 7"],
                20.0,
                [66.0, 48.0],
            )
        };
        let (headline, sentence) = words(2.2);
        assert_eq!(headline, "Glazes, slightly milky.");
        assert_eq!(
            sentence,
            "It lifts grey 6 and grey 7 a little, by 2 L* at most; over the others it glazes."
        );
        assert_eq!(words(6.0).0, "Veils all but your lights.");
    }

    #[test]
    fn a_glaze_says_what_becomes_of_the_drawing() {
        let sentence = |spans| verdict_words(&[Here::Glaze], &[-9.0], &["grey"], 20.0, spans).1;
        assert!(sentence([66.0, 48.0]).ends_with("your drawing stays."));
        assert!(sentence([66.0, 32.0]).ends_with("your drawing goes down with it."));
        assert!(sentence([66.0, 9.0]).ends_with("hardly anything of your drawing is left."));
        assert!(sentence([0.0, 0.0]).ends_with("what lies below shows through."));
    }

    #[test]
    fn lights_and_darks_are_told_before_and_after() {
        assert_eq!(span([92.0, 26.0, 50.0].into_iter()), 66.0);
        assert_eq!(
            span_words([66.0, 48.0]),
            "Lights and darks: 66 L* apart before, 48 after."
        );
        assert!(span_words([66.0, 24.0]).ends_with("The drawing is going."));
        assert!(span_words([66.0, 4.0]).ends_with("The drawing is gone."));
    }
}
