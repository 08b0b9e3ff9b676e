//! What is printed, as PDF pages from Chromium: laid out by one program, looked at by another (Poppler's tools).

use super::*;
use twoground::{card::print, scan::decode};

/// Runs one of Poppler's tools (`tests/run` installs them on Debian).
fn poppler(tool: &str, arguments: &[&str]) -> Vec<u8> {
    let done = Command::new(tool)
        .args(arguments)
        .output()
        .unwrap_or_else(|error| panic!("{tool} is needed, from Poppler (poppler-utils): {error}"));
    assert!(
        done.status.success(),
        "{tool}: {}",
        String::from_utf8_lossy(&done.stderr)
    );
    done.stdout
}

/// A printed file.
struct Printed {
    path: String,
    pages: usize,
    /// Of a page, in mm.
    size: [f64; 2],
}

impl Printed {
    /// Presses what prints, and takes the pages that come of it.
    #[track_caller]
    fn by(page: &mut Browser, button: &str, name: &str) -> Self {
        // Nobody is there to close the browser's own window for printing.
        page.evaluate("window.print = () => { window.printed = true; }; window.printed = false");
        page.click(button);
        page.wait("window.printed");
        let path = page.print(name).to_str().expect("a path").to_owned();
        page.evaluate("window.dispatchEvent(new Event('afterprint'))");
        let told = String::from_utf8(poppler("pdfinfo", &[&path])).expect("text");
        let value = |name: &str| {
            let line = told.lines().find_map(|line| line.strip_prefix(name));
            line.unwrap_or_else(|| panic!("{name} in {told}"))
                .trim()
                .to_owned()
        };
        let size = value("Page size:");
        let mut points = size.split(' ').filter_map(|word| word.parse::<f64>().ok());
        let mut mm = || points.next().expect("a size") * 25.4 / 72.0;
        Self {
            pages: value("Pages:").parse().expect("a number"),
            size: [mm(), mm()],
            path,
        }
    }

    /// One page as a picture; pages count from 1.
    fn raster(&self, page: usize, dpi: usize) -> Vec<u8> {
        let (page, dpi) = (page.to_string(), dpi.to_string());
        poppler(
            "pdftoppm",
            &["-png", "-r", &dpi, "-f", &page, "-l", &page, &self.path],
        )
    }

    fn text(&self) -> String {
        let text = poppler("pdftotext", &["-layout", &self.path, "-"]);
        String::from_utf8(text).expect("text")
    }

    /// Words with the left, top, right and bottom of each, in mm on their page.
    fn words(&self) -> Vec<(String, [f64; 4])> {
        let found =
            String::from_utf8(poppler("pdftotext", &["-bbox", &self.path, "-"])).expect("text");
        let lines = found
            .lines()
            .map(str::trim)
            .filter(|line| line.starts_with("<word "));
        lines
            .map(|line| {
                let mut parts = line.split('"').skip(1).step_by(2);
                let mut mm = || {
                    let points: f64 = parts.next().expect("a place").parse().expect("a number");
                    points * 25.4 / 72.0
                };
                let at = [mm(), mm(), mm(), mm()];
                let word = line.split(['>', '<']).nth(2).expect("a word");
                (word.to_owned(), at)
            })
            .collect()
    }

    /// Nothing is cut off: no ink outside the margin, in mm, on any page.
    #[track_caller]
    fn assert_margins(&self, margin: f64) {
        const DPI: usize = 75;
        for page in 1..=self.pages {
            let picture = image::load_from_memory(&self.raster(page, DPI))
                .expect("a picture")
                .to_luma8();
            let edge = (margin * DPI as f64 / 25.4) as u32;
            let (width, height) = picture.dimensions();
            let outside = picture.enumerate_pixels().filter(|(x, y, ink)| {
                let inside = (edge..width - edge).contains(x) && (edge..height - edge).contains(y);
                !inside && ink.0[0] < 250
            });
            assert_eq!(outside.count(), 0, "page {page} of {}", self.path);
        }
    }
}

/// A printed card with films and two of the painter's own colours on it: these go into the picture with how surely they are known,
/// in one step, and widen its range.
#[track_caller]
fn own_colours_come_along(page: &mut Browser, printed: &[u8]) {
    let mut card = image::load_from_memory(printed)
        .expect("a picture")
        .to_rgb8();
    // In mm from the top left of an A5 sheet: films that only take light away, and two squares that hide the paper.
    let per_mm = 150.0 / 25.4;
    let mut paint = |[x, y, width, height]: [f64; 4], share: [f64; 3], hides: bool| {
        let [from_x, from_y, to_x, to_y] =
            [x, y, x + width, y + height].map(|v| (v * per_mm) as u32);
        for (x, y) in (from_y..to_y).flat_map(|y| (from_x..to_x).map(move |x| (x, y))) {
            let pixel = card.get_pixel_mut(x, y);
            for (value, share) in pixel.0.iter_mut().zip(share) {
                *value = ((if hides { 255.0 } else { f64::from(*value) }) * share) as u8;
            }
        }
    };
    for (top, deep) in [(18.0, 0.8), (42.0, 0.6), (66.0, 0.4)] {
        paint(
            [10.0 + 15.0, 11.0 + top + 1.0, 92.0, 13.0],
            [0.95, deep, deep],
            false,
        );
    }
    for (i, share) in [[0.6, 0.5, 0.4], [0.3, 0.35, 0.5]].into_iter().enumerate() {
        paint(
            [10.0 + 114.0 + 10.25 * i as f64, 11.0 + 82.0, 9.0, 11.0],
            share,
            true,
        );
    }
    let folder = crate::devtools::Folder::new("own-colours");
    let file = folder.path().join("own colours.png");
    card.save(&file).expect("a picture is written");
    go(page, "cards");
    read(page, &file);
    page.wait_for_text("Take its 2 colours as underpainting");
    page.focus("#card [data-do=lay-colours]");
    page.press("Enter");
    page.wait("document.querySelectorAll('#picture [data-row]').length === 11");
    page.wait_for_text("painted on card 0041, read from own colours.png");
    page.screenshot("picture-own-colours");
    page.click("#picture [data-panel=numbers]");
    let range = |page: &mut Browser, row: usize| -> f64 {
        let words = page.evaluate(&format!(
            "document.querySelectorAll('#picture [data-part=numbers] tbody tr')[{row}].lastChild.textContent"
        ));
        let words = words
            .as_str()
            .expect("text")
            .trim_start_matches("± ")
            .to_owned();
        words
            .split(',')
            .next()
            .and_then(|v| v.parse().ok())
            .expect("a number")
    };
    page.wait("document.querySelectorAll('#picture [data-part=numbers] tbody tr').length === 11");
    let own = range(page, 9);
    // The same colour typed, exactly so as planned: under the same film its range is narrower.
    let lab = page.evaluate("document.querySelectorAll('#picture [data-part=numbers] tbody tr')[9].children[1].textContent.replaceAll('\\u2212', '-')");
    page.click("#picture [data-panel=underpainting]");
    page.focus("#picture form[data-part=typed] select[name=known]");
    page.press("ArrowDown");
    page.press("ArrowDown");
    page.click("#picture form[data-part=typed] input[name=lab]");
    page.type_text(lab.as_str().expect("text"));
    page.press("Enter");
    page.wait("document.querySelectorAll('#picture [data-row]').length === 12");
    page.click("#picture [data-panel=numbers]");
    page.wait("document.querySelectorAll('#picture [data-part=numbers] tbody tr').length === 12");
    assert!(own > 0.3 + range(page, 11), "{own} {}", range(page, 11));
    // Both came in one step.
    page.click("#picture [data-do=undo]");
    page.click("#picture [data-do=undo]");
    page.wait("document.querySelectorAll('#picture [data-part=numbers] tbody tr').length === 9");
}

#[test]
fn cards_come_out_of_the_printer_at_true_size_and_are_known_again() {
    let (_server, _profile, mut page) = open();
    page.click("#start [data-fold=blanks] > summary");
    page.wait("document.querySelector('#start [data-part=preview] img')?.naturalWidth > 0");
    let long = "WWWWWWWWWWWWWWWWWWWWWWWWWW";
    let fill = |name: &str, value: &str| {
        format!(
            "(() => {{ const field = document.querySelector('#start [name={name}]'); field.value = {}; field.dispatchEvent(new Event('change', {{ bubbles: true }})); return 1; }})()",
            json!(value)
        )
    };
    page.evaluate(&fill("count", "3"));
    page.evaluate(&fill(
        "labels",
        &format!("Harbour rose 12\nGrün & <b>tief</b>\n{long}"),
    ));
    let mut printed = Vec::new();
    // ISO 216 and ANSI/ASME Y14.1 in mm: two cards to a sheet, one on A5; every front has its back.
    for (paper, size, pages, on) in [
        ("A4", [210.0, 297.0], 4, 2),
        ("A5", [210.0, 148.0], 6, 1),
        ("Letter", [215.9, 279.4], 4, 2),
    ] {
        page.click(&format!("#start input[name=paper][value={paper}]"));
        // It goes on from the last card printed.
        page.evaluate(&fill("first", "41"));
        let sheets = Printed::by(
            &mut page,
            "[data-do=print-cards]",
            &format!("cards-{paper}"),
        );
        assert_eq!(sheets.pages, pages, "{paper}");
        for (is, should) in sheets.size.into_iter().zip(size) {
            assert!((is - should).abs() < 0.3, "{paper}: {is} mm");
        }
        // Printers do not reach the edge (4.3 mm is common; from memory); only the lines to cut along lie there.
        if on == 1 {
            sheets.assert_margins(5.0);
        }
        let mut told = Vec::new();
        for front in (1..=pages).step_by(2) {
            let scan = decode::decode(&sheets.raster(front, 150), "card.png").expect("a picture");
            for card in print::find(&scan).expect("cards") {
                let printed = card.printed.expect("its codes are read");
                assert!(printed.squared && printed.codes == 4, "{printed:?}");
                let scale = printed.scale.expect("the picture's resolution is known");
                assert!((scale - 1.0).abs() < 0.005, "{paper}: {scale}");
                told.push((printed.number, printed.label));
            }
        }
        // Three were asked for: the last sheet has one.
        assert_eq!(told.len(), 3, "{paper}: {told:?}");
        let label = |text: &str| text.to_owned();
        assert_eq!(told[0], (41, label("Harbour rose 12")), "{paper}");
        assert_eq!(told[1], (42, label("Grün & <b>tief</b>")), "{paper}");
        assert_eq!(told[2], (43, label(long)), "{paper}");
        // The label stays on its line, clear of the code beside it, which begins 168.25 mm from the card's left.
        let words = sheets.words();
        let (written, [left, _, right, _]) = words
            .iter()
            .find(|(word, _)| word.starts_with("WWW"))
            .expect("the label is printed");
        assert!(
            written.len() > 12 && right - left < 33.0,
            "{written}: {left} to {right}"
        );
        assert!(
            sheets.text().contains("Rags with drying oil"),
            "cautions on the back"
        );
        if on == 1 {
            printed = sheets.raster(1, 150);
        }
    }
    own_colours_come_along(&mut page, &printed);
    page.close();
}

#[test]
fn sheets_for_wall_tube_and_easel_are_whole() {
    let (_server, _profile, mut page) = open();
    go(&mut page, "tubes");
    let mut files: Vec<PathBuf> = samples::samples()
        .into_iter()
        .map(|sample| sample.pigment)
        .collect();
    // A label as long as painters' notes are.
    let folder = Folder::new("paper");
    let mut long = json_file(&files[0]);
    long["paint"]["name"] =
        "A long name of a tube, deep, second quality, from the old stock".into();
    long["paint"]["notes"] = "Separates in the tube; knead before use. "
        .repeat(12)
        .into();
    let path = folder.path().join("long.json");
    fs::write(&path, long.to_string()).expect("a file");
    files.push(path);
    page.upload("#pigment", &files);
    let count = files.len();
    shelf_has(&mut page, count);

    let wall = Printed::by(&mut page, "[data-do=wall]", "wall");
    wall.assert_margins(13.0);
    let text = wall.text();
    for file in &files {
        let name = json_file(file)["paint"]["name"]
            .as_str()
            .expect("a name")
            .to_owned();
        let first = name.split(' ').next().expect("a word");
        assert!(text.contains(first), "{name} in {text}");
    }
    assert!(
        text.contains("no real card yet") && text.contains("D50"),
        "{text}"
    );
    // Ten rows to a page, with their families' names.
    assert!(wall.pages <= count.div_ceil(8), "{} pages", wall.pages);

    page.click("#tubes [aria-label^='Open: A long name']");
    page.wait("!document.querySelector('#tube').hidden");
    let tube = Printed::by(&mut page, "[data-do=tube-card]", "tube-card");
    assert_eq!(tube.pages, 1);
    tube.assert_margins(13.0);
    let text = tube.text();
    for words in [
        "old stock",
        "Undertone",
        "Masstone",
        "knead before use",
        "no real card yet",
    ] {
        assert!(text.contains(words), "{words} in {text}");
    }

    go(&mut page, "picture");
    page.wait(&format!(
        "document.querySelectorAll('#picture .tube-row').length === {count}"
    ));
    picture::picture_has(&mut page, 1);
    // Many films and a long underpainting are still one page.
    page.click("#picture [data-panel=underpainting]");
    page.click("#picture form[data-part=ladder] button[type=submit]");
    page.wait("document.querySelectorAll('#picture [data-part=colours] [data-row]').length > 12");
    page.click("#picture [data-panel=all-tubes]");
    let colours = page.evaluate(
        "new Set([...document.querySelectorAll('#picture [data-part=colours] [data-row]')]).size",
    );
    for films in 2..=7 {
        page.click(&format!("#picture li:nth-child({films}) > .tube-row"));
        picture::picture_has(&mut page, films);
    }
    let plan = Printed::by(&mut page, "[data-do=print-plan]", "plan");
    assert_eq!(plan.pages, 1, "one page for the easel");
    plan.assert_margins(13.0);
    let text = plan.text();
    for words in [
        "Film",
        "Coats",
        "Parts",
        "To check",
        "Fat over lean",
        "no real card yet",
        "Rags",
    ] {
        assert!(text.contains(words), "{words} in {text}");
    }
    // Every underpainting colour has its range.
    let colours = colours.as_u64().expect("a number") as usize;
    assert_eq!(text.matches("±").count(), colours, "{text}");
    page.close();
}
