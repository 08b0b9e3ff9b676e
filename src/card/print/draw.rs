//! Sheets of cards as SVG at true size.

use std::fmt::Write as _;

use super::*;
use crate::{Error, Result};

/// Sheets that are printed on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Paper {
    /// 210 x 297 mm, two cards.
    A4,
    /// 210 x 148 mm, one card.
    A5,
    /// 8.5 x 11 inches, two cards.
    Letter,
}

/// Front or back of a sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// The cards.
    Front,
    /// Cautions and what to do.
    Back,
}

impl Paper {
    /// By its usual name.
    pub fn named(name: &str) -> Option<Self> {
        match name {
            "A4" => Some(Self::A4),
            "A5" => Some(Self::A5),
            "Letter" => Some(Self::Letter),
            _ => None,
        }
    }

    /// Width and height in mm.
    pub fn size(self) -> [f64; 2] {
        match self {
            Self::A4 => [210.0, 297.0],
            Self::A5 => [210.0, 148.0],
            Self::Letter => [215.9, 279.4],
        }
    }

    /// How many cards one sheet holds.
    pub fn cards(self) -> usize {
        match self {
            Self::A5 => 1,
            Self::A4 | Self::Letter => 2,
        }
    }

    /// Top left corners of its cards' fields.
    pub(super) fn places(self) -> Vec<[f64; 2]> {
        let [width, height] = self.size();
        let part = height / self.cards() as f64;
        (0..self.cards())
            .map(|i| {
                [
                    (width - SIZE[0]) / 2.0,
                    part * i as f64 + (part - SIZE[1]) / 2.0,
                ]
            })
            .collect()
    }
}

/// Largest number of a card.
const MOST_NUMBER: u32 = 9_999_999;

/// One sheet as SVG, a user unit being a mm. It has a card for every one of `labels`, as many as it holds, numbered from `first`; an empty
/// label is none.
///
/// # Errors
/// When the number has more than seven digits.
pub fn sheet(paper: Paper, side: Side, first: u32, labels: &[String]) -> Result<String> {
    let [width, height] = paper.size();
    let mut svg = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}" font-family="Helvetica, Arial, sans-serif" fill="black">"#
    );
    rect(&mut svg, [0.0, 0.0, width, height], "#fff");
    for (i, ([x, y], label)) in paper.places().into_iter().zip(labels).enumerate() {
        let number = first.saturating_add(i as u32);
        if number > MOST_NUMBER {
            return Err(Error::Refused(
                "A card’s number has at most seven digits. Begin with a smaller one.".to_owned(),
            ));
        }
        let _ = write!(svg, r#"<g transform="translate({x:.3} {y:.3})">"#);
        match side {
            Side::Front => front(&mut svg, number, label.trim())?,
            Side::Back => back(&mut svg, number),
        }
        svg.push_str("</g>");
    }
    // Where to cut, also for a card that is alone on its sheet.
    for i in 1..paper.cards() {
        let cut = height / paper.cards() as f64 * i as f64;
        for from in [2.0, width - 8.0] {
            line(&mut svg, [from, cut, from + 6.0, cut], 0.2);
        }
    }
    svg.push_str("</svg>");
    Ok(svg)
}

fn front(svg: &mut String, number: u32, label: &str) -> Result<()> {
    for corner in 0..4 {
        let mark = Mark {
            number,
            corner,
            label: label.to_owned(),
        };
        code(svg, CODES[corner], &mark.write())?;
    }
    striped(svg);
    lanes(svg);
    let [left, ..] = GREY_AT;
    text(svg, [left, 5.0], 4.6, "bold", &format!("Card {number:04}"));
    text(
        svg,
        [left, 9.2],
        2.5,
        "normal",
        "Scan it whole, 150 dpi or more, with all",
    );
    text(
        svg,
        [left, 12.2],
        2.5,
        "normal",
        "automatic corrections off. Two Grounds",
    );
    writing(svg, left, label);
    colours(svg);
    greys(svg);
    glare(svg);
    scale(svg);
    Ok(())
}

/// A code, as one path of its dark modules.
fn code(svg: &mut String, [x, y]: [f64; 2], text: &str) -> Result<()> {
    let dark = words::write(text)?;
    svg.push_str(r#"<path shape-rendering="crispEdges" d=""#);
    for row in 0..MODULES {
        let mut column = 0;
        while column < MODULES {
            let dark = |c: usize| dark[row * MODULES + c];
            if !dark(column) {
                column += 1;
                continue;
            }
            let from = column;
            while column < MODULES && dark(column) {
                column += 1;
            }
            let _ = write!(
                svg,
                "M{:.3} {:.3}h{:.3}v{MODULE}h-{:.3}z",
                x + MODULE * from as f64,
                y + MODULE * row as f64,
                MODULE * (column - from) as f64,
                MODULE * (column - from) as f64
            );
        }
    }
    svg.push_str(r#""/>"#);
    Ok(())
}

fn striped(svg: &mut String) {
    let [left, top, _, height] = STRIPED;
    for stripe in (1..STRIPES).step_by(2) {
        rect(
            svg,
            [left + STRIPE * stripe as f64, top, STRIPE, height],
            "#000",
        );
    }
}

/// Lines for the tape beside the stripes, and what each lane is for.
fn lanes(svg: &mut String) {
    const WORDS: [[&str; 3]; 4] = [
        ["thin", "one layer", "of tape"],
        ["middle", "two layers", "of tape"],
        ["thick", "four layers", "of tape"],
        ["brush", "one coat", "of yours"],
    ];
    let [left, _, width, _] = STRIPED;
    for (i, [top, height]) in LANES.into_iter().enumerate() {
        for y in [top, top + height] {
            for [from, to] in [
                [left - 9.0, left - 2.0],
                [left + width + 1.0, left + width + 4.5],
            ] {
                line(svg, [from, y, to, y], 0.2);
            }
        }
        let middle = top + height / 2.0;
        let [name, first, second] = WORDS[i];
        // Clear of the codes above and below.
        let (x, y) = (4.0, middle.clamp(28.6, 96.0));
        text(svg, [x, y - 1.6], 3.2, "bold", name);
        text(svg, [x, y + 1.8], 2.6, "normal", first);
        text(svg, [x, y + 4.8], 2.6, "normal", second);
    }
}

fn writing(svg: &mut String, left: f64, label: &str) {
    const LINES: [&str; 7] = [
        "Name",
        "Maker",
        "Colour Index",
        "Binder, medium",
        "Batch",
        "Drawn on",
        "Hazards",
    ];
    for (i, name) in LINES.into_iter().enumerate() {
        let y = 17.5 + 8.2 * i as f64;
        text(svg, [left, y], 2.6, "normal", name);
        line(svg, [left + 18.5, y + 0.8, left + 51.0, y + 0.8], 0.15);
        if i == 0 && !label.is_empty() {
            let (size, shown) = fitted(label, 31.5);
            text(svg, [left + 19.0, y - 0.2], size, "bold", &shown);
        }
    }
}

/// A label at the largest size at which it fits `room`, in mm; one that would be too small to read is cut.
fn fitted(label: &str, room: f64) -> (f64, String) {
    const LARGEST: f64 = 3.2;
    const LEAST: f64 = 2.1;
    // Widths in bold sans serif, as shares of the size, on the wide side: what prints here is unknown.
    let wide = |c: char| match c {
        'i' | 'j' | 'l' | 'I' | '.' | ',' | ':' | ';' | '\'' | '|' | '!' | ' ' => 0.34,
        'f' | 't' | 'r' | '(' | ')' | '-' | '/' => 0.4,
        'm' | 'w' | 'M' | 'W' | '%' | '@' | '&' => 0.98,
        c if c.is_uppercase() => 0.76,
        c if c.is_ascii() || c.is_alphabetic() && (c as u32) < 0x2000 => 0.62,
        _ => 1.05,
    };
    let width: f64 = label.chars().map(wide).sum();
    let size = (room / width).min(LARGEST);
    if size >= LEAST {
        return (size, label.to_owned());
    }
    let mut left = room / LEAST - 1.0;
    let shown: String = label
        .chars()
        .take_while(|&c| {
            left -= wide(c);
            left >= 0.0
        })
        .collect();
    (LEAST, format!("{}…", shown.trim_end()))
}

fn colours(svg: &mut String) {
    let [left, top] = COLOUR_AT;
    text(
        svg,
        [left, top - 1.8],
        2.6,
        "normal",
        "Your underpainting colours, one a square",
    );
    for i in 0..COLOURS {
        let x = left + COLOUR_STEP * i as f64;
        let [width, height] = COLOUR_SIZE;
        let _ = write!(
            svg,
            r##"<rect x="{x:.3}" y="{top:.3}" width="{width}" height="{height}" fill="none" stroke="#777" stroke-width="0.15"/>"##
        );
    }
}

fn greys(svg: &mut String) {
    let [left, top] = GREY_AT;
    text(
        svg,
        [left, top - 1.8],
        2.6,
        "normal",
        "Grey steps: leave them bare",
    );
    for (i, grey) in GREYS.into_iter().enumerate() {
        let x = left + GREY_STEP[0] * i as f64;
        rect(
            svg,
            [x, top, GREY_STEP[0], GREY_STEP[1]],
            &format!("#{grey:02x}{grey:02x}{grey:02x}"),
        );
    }
    text(
        svg,
        [left, top + GREY_STEP[1] + 3.6],
        2.6,
        "normal",
        "To your eye: are all five apart?",
    );
}

/// White in a black field and white in a white one: what the black takes from the white beside it is the scanner's glare.
fn glare(svg: &mut String) {
    for (i, chip) in GLARE.into_iter().enumerate() {
        let [x, y] = chip.middle;
        let square = |side: f64| [x - side / 2.0, y - side / 2.0, side, side];
        if i == 0 {
            rect(svg, square(GLARE_FIELD), "#000");
            rect(svg, square(chip.side + 2.0), "#fff");
        } else {
            let [left, top, side, _] = square(GLARE_FIELD);
            for [dx, dy] in [[0.0, 0.0], [side, 0.0], [0.0, side], [side, side]] {
                let inward = |d: f64| if d == 0.0 { 2.0 } else { -2.0 };
                line(
                    svg,
                    [left + dx, top + dy, left + dx + inward(dx), top + dy],
                    0.15,
                );
                line(
                    svg,
                    [left + dx, top + dy, left + dx, top + dy + inward(dy)],
                    0.15,
                );
            }
        }
    }
    let [x, y] = GLARE[1].middle;
    text(
        svg,
        [x - 9.6, y + GLARE_FIELD / 2.0 + 4.5],
        2.6,
        "normal",
        "Both whites bare",
    );
    text(
        svg,
        [x - 9.6, y + GLARE_FIELD / 2.0 + 7.7],
        2.6,
        "normal",
        "and clean",
    );
}

fn scale(svg: &mut String) {
    let [from, to, y] = SCALE;
    line(svg, [from, y, to, y], 0.2);
    for mm in 0..=(to - from) as usize {
        let x = from + mm as f64;
        let long = match mm {
            mm if mm % 10 == 0 => 2.6,
            mm if mm % 5 == 0 => 1.9,
            _ => 1.2,
        };
        line(svg, [x, y - long, x, y], 0.12);
    }
    text(svg, [to + 2.0, y], 2.6, "normal", "100 mm: measure it");
}

fn back(svg: &mut String, number: u32) {
    const LEFT: [(&str, &[&str]); 3] = [
        (
            "Before you paint",
            &[
                "Print at 100 %, not fitted to the page: the scale on the front must measure",
                "100 mm. Smooth heavy paper, 200 g/m² or more.",
                "Pigment inks and toner hold. Dye inks bleed under paint, and some blacks are",
                "too pale: the black must look black beside black paint. If it does not, or if it",
                "bleeds, paint the black stripes over with black acrylic.",
                "Seal the striped area and the squares, black and white alike, with two thin",
                "coats of clear acrylic medium, and let it dry. Leave codes, chips, greys bare.",
            ],
        ),
        (
            "Drawing",
            &[
                "Tape along the short lines, above and below a lane. A bead of paint at the left,",
                "one pull to the right with a straight stiff edge, over all the stripes and a little",
                "beyond. Take the tape off while the paint is wet.",
                "The last lane: one coat as you brush it on a picture.",
                "The squares: colours of your dry underpainting, to be read with the card.",
                "Stripes between the lanes stay bare: they are what is measured against.",
            ],
        ),
        (
            "Scanning",
            &[
                "Dry to the touch. The whole card with its four codes, straight or crooked.",
                "A covered code does no harm while two others are seen.",
                "Grey steps that your eye tells apart must be apart in the scan too; if they are",
                "not, the reader says so. Their lightness is never measured by: no printer keeps it.",
            ],
        ),
    ];
    const RIGHT: [(&str, &[&str]); 1] = [(
        "Cautions",
        &[
            "The label on the tube, its safety data sheet and local fire and",
            "waste rules come first; this is only a reminder.",
            "Rags with drying oil can set themselves on fire. Spread them",
            "flat to dry, or keep them under water or in a closed metal can.",
            "Solvents: air the room. Odourless is not harmless.",
            "Lead, cadmium, cobalt, chrome, manganese: no eating or",
            "smoking, wear gloves. Never sand, scrape or cut this card",
            "dry: the dust is the danger. Write the hazard on the front.",
            "Not for conservation. Test on a scrap first.",
        ],
    )];
    text(
        svg,
        [0.0, 5.0],
        4.6,
        "bold",
        &format!("Card {number:04}, back"),
    );
    type Column = (f64, &'static [(&'static str, &'static [&'static str])]);
    let columns: [Column; 2] = [(0.0, &LEFT), (110.0, &RIGHT)];
    for (x, parts) in columns {
        let mut y = 14.0;
        for (head, lines) in parts {
            text(svg, [x, y], 3.4, "bold", head);
            for line in *lines {
                y += 5.0;
                text(svg, [x, y], 2.9, "normal", line);
            }
            y += 8.5;
        }
    }
}

fn rect(svg: &mut String, [x, y, width, height]: [f64; 4], fill: &str) {
    let _ = write!(
        svg,
        r#"<rect x="{x:.3}" y="{y:.3}" width="{width:.3}" height="{height:.3}" fill="{fill}"/>"#
    );
}

fn line(svg: &mut String, [x1, y1, x2, y2]: [f64; 4], width: f64) {
    let _ = write!(
        svg,
        r#"<path d="M{x1:.3} {y1:.3}L{x2:.3} {y2:.3}" stroke="black" stroke-width="{width}"/>"#
    );
}

fn text(svg: &mut String, [x, y]: [f64; 2], size: f64, weight: &str, words: &str) {
    if words.is_empty() {
        return;
    }
    let mut safe = String::with_capacity(words.len());
    for c in words.chars() {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            c if is_unseen(c) => safe.push(' '),
            c => safe.push(c),
        }
    }
    let _ = write!(
        svg,
        r#"<text x="{x:.3}" y="{y:.3}" font-size="{size:.3}" font-weight="{weight}">{safe}</text>"#
    );
}
