//! What a painter can correct, add and answer on the Card screen.

use std::collections::HashMap;

use image::{RgbImage, imageops};

use twoground::simulate::{render, sensor::Kind, troubles};

use super::*;

/// A sample's scan with 8 bits and without its profile, as other programs hand pictures on.
fn plain(sample: usize) -> RgbImage {
    image::open(&samples::samples()[sample].scan)
        .expect("a sample is a picture")
        .to_rgb8()
}

fn saved(folder: &Folder, name: &str, picture: &RgbImage) -> PathBuf {
    let file = folder.path().join(name);
    picture.save(&file).expect("a picture is written");
    file
}

/// Reads a scan in place of the one that is open.
#[track_caller]
fn read_next(page: &mut Browser, scan: &Path) {
    page.upload("#scan", &[scan.to_owned()]);
    let name = scan.file_name().and_then(|name| name.to_str());
    page.wait(&format!(
        "{READ} && document.querySelector('#card [data-part=scan]').textContent.includes({})",
        json!(name.expect("a name"))
    ));
}

fn pixels(record: &Value) -> Vec<u64> {
    let cells = record["cells"].as_array().expect("cells");
    cells
        .iter()
        .map(|cell| cell["pixels"].as_u64().expect("a number"))
        .collect()
}

fn films(record: &Value) -> usize {
    record["films"].as_array().expect("films").len()
}

fn focus(page: &mut Browser, grip: &str) {
    page.focus(&format!("#card [data-grip={grip}]"));
}

/// Code and words of everything that the page noticed.
fn findings(page: &mut Browser) -> HashMap<String, String> {
    let found = page.evaluate(
        "[...document.querySelectorAll('#card [data-finding]')].map((e) => [e.dataset.finding, e.textContent])",
    );
    serde_json::from_value::<Vec<(String, String)>>(found)
        .expect("pairs")
        .into_iter()
        .collect()
}

/// A steep blue through three narrow lights: the card asks which kind of scanner it was. The answer is read at once, remembered, and
/// goes back with Undo, for this card and the next.
#[test]
fn the_kind_of_scanner_is_asked_answered_and_taken_back() {
    let (_server, _profile, mut page) = open();
    let folder = Folder::new("kinds");
    let scan = folder.path().join("blue.png");
    let mut scene = (0..400)
        .map(|seed| troubles::plain(seed, 105.0))
        .find(|scene| scene.cards[0].paint.name == "blue lake")
        .expect("a card of it");
    scene.scanner.sensor = Kind::ThreeLeds;
    let bytes = render(&scene).bytes().expect("a picture");
    fs::write(&scan, bytes).expect("a folder that can be written");
    read(&mut page, &scan);
    page.wait("document.querySelector('#card [data-finding=scanner-kind] button')");
    page.focus("#card [data-finding=scanner-kind] button");
    page.press("Enter");
    page.wait(
        "document.activeElement.name === 'scanner' && document.activeElement.checkVisibility()",
    );
    page.press("ArrowRight");
    page.wait("document.activeElement.value === 'white_light'");
    page.wait_for_text("Read again: milk on black");
    page.wait("!document.querySelector('#card [data-finding=scanner-kind]')");
    let remembered = "localStorage.getItem('scanner')";
    assert_eq!(page.evaluate(remembered), "white_light");
    assert_eq!(corrected(&mut page)["provenance"]["scanner"], "white_light");
    page.click("#card [data-do=undo]");
    page.wait("document.querySelector('#card [data-finding=scanner-kind]')");
    page.wait(&format!("{remembered} === 'unknown'"));
    assert_eq!(corrected(&mut page)["provenance"]["scanner"], "unknown");
    page.close();
}

/// What is kept stays as it was until the changes are kept too; until then that is said.
#[test]
fn what_changed_since_it_was_kept_is_said() {
    let (_server, _profile, mut page) = open();
    read(&mut page, &samples::samples()[1].scan);
    name_and_keep(&mut page, "Sea");
    page.focus("#card input[name=surface][value=glossy]");
    page.press("ArrowRight");
    page.wait_for_text("Changed since it was kept");
    page.click("#card [data-do=undo]");
    page.wait_for_text("Kept on this computer.");
    page.click("#card [data-do=redo]");
    page.wait_for_text("Changed since it was kept");
    page.click("#card [data-do=another]");
    page.wait_for_text("The last changes to");
    page.click("#start [data-do=back]");
    page.wait(READ);
    page.wait_for_text("Changed since it was kept");
    page.click("#card [data-do=keep]");
    page.wait_for_text("Kept on this computer.");
    shelf_has(&mut page, 1);
    page.wait_for_text("Last: the new reading of Sea");
    page.close();
}

#[test]
fn cells_films_and_stripes_can_be_corrected_by_pointer_and_by_keys() {
    let (_server, _profile, mut page) = open();
    // Its last sample but one has three films over three stripes of each kind.
    read(&mut page, &samples::samples()[5].scan);
    let found = corrected(&mut page);
    let undo = "#card [data-do=undo]";
    assert_eq!(
        page.evaluate(&format!(
            "document.querySelector('{undo}').ariaDisabled === 'true'"
        )),
        true
    );

    // A cell by key: arrows go from cell to cell, Space leaves it out.
    focus(&mut page, "cell-0-0");
    page.press("ArrowDown");
    page.press(" ");
    page.wait("!document.querySelector('#card .busy')");
    // The focus stays on the cell.
    assert_eq!(
        page.evaluate(
            "['data-grip', 'aria-checked'].map((name) => document.activeElement.getAttribute(name))"
        ),
        json!(["cell-1-0", "false"])
    );
    let by_key = corrected(&mut page);
    assert_pixels_of_one_film_and_ground(&found, &by_key, 1);
    // Once more by pointer: it counts again.
    page.click("#card [data-grip=cell-1-0]");
    assert_eq!(corrected(&mut page), found);

    // A film left out by its number: the others are read as before, and its place is not taken for bare card.
    page.click("#card [data-grip=film-1]");
    let without = corrected(&mut page);
    assert_eq!(films(&without), films(&found) - 1);
    assert_eq!(without["stripes"], found["stripes"]);
    assert_eq!(without["cells"][0]["xyz"], found["cells"][0]["xyz"]);
    page.screenshot("film-left-out");
    page.click("#card [data-finding=left-out] [data-act=put-back]");
    assert_eq!(corrected(&mut page), found);

    // A film put into a gap is asked about; Delete takes it away again.
    page.click("#card [data-do=add-film]");
    page.wait("document.activeElement.getAttribute('data-grip')?.startsWith('film-')");
    assert_eq!(films(&corrected(&mut page)), films(&found) + 1);
    let doubtful = "document.querySelectorAll('#card .doubtful').length";
    assert_eq!(page.evaluate(doubtful), 2);
    page.wait("!document.querySelector('#card [data-part=question]').hidden");
    page.screenshot("question");
    page.click("#card [data-part=question] [data-act=settle]");
    corrected(&mut page);
    assert_eq!(page.evaluate(doubtful), 0);
    page.wait("document.querySelector('#card [data-part=question]').hidden");
    let added = page.evaluate("[...document.querySelectorAll('#card .grip.film')].map((e) => e.getAttribute('data-grip'))");
    assert_eq!(added.as_array().expect("a list").len(), films(&found) + 1);
    let thinnest = page.evaluate(
        "(() => { const height = (i) => { const y = (end) => document.querySelector(`#card [data-grip=film-${i}-${end}] .knob`).cy.baseVal.value; return y('bottom') - y('top'); };
           const all = [...document.querySelectorAll('#card .grip.film')].map((_, i) => height(i));
           return all.indexOf(Math.min(...all)); })()",
    );
    focus(&mut page, &format!("film-{thinnest}"));
    page.press("Delete");
    assert_eq!(corrected(&mut page), found);

    // An edge between stripes, by key and by pointer; both are undone.
    focus(&mut page, "stripe-0");
    page.press("ArrowRight");
    let by_key = corrected(&mut page);
    assert_ne!(pixels(&by_key), pixels(&found));
    let [x, y] = page.middle("#card [data-grip=stripe-1] .knob");
    page.drag([x, y], [x + 6.0, y]);
    let by_pointer = corrected(&mut page);
    assert_ne!(pixels(&by_pointer), pixels(&by_key));
    page.click(undo);
    assert_eq!(corrected(&mut page), by_key);
    page.click(undo);
    assert_eq!(corrected(&mut page), found);
    // Both are made again, by button and by key, and as quickly taken back.
    page.click("#card [data-do=redo]");
    assert_eq!(corrected(&mut page), by_key);
    page.press_with("z", 10);
    assert_eq!(corrected(&mut page), by_pointer);
    page.evaluate("(() => { const undo = document.querySelector('#card [data-do=undo]'); undo.click(); undo.click(); })()");
    assert_eq!(corrected(&mut page), found);
    page.evaluate("(() => { const redo = document.querySelector('#card [data-do=redo]'); redo.click(); redo.click(); })()");
    assert_eq!(corrected(&mut page), by_pointer);
    page.click(undo);
    page.click(undo);
    assert_eq!(corrected(&mut page), found);

    // What is no stripe any more is refused in a sentence and changes nothing.
    let [x, y] = page.middle("#card [data-grip=stripe-0] .knob");
    page.drag([x, y], [x + 400.0, y]);
    page.wait_for_text("an edge of a stripe cannot cross the next edge");
    page.wait("!document.querySelector('#card .busy')");
    let [back, _] = page.middle("#card [data-grip=stripe-0] .knob");
    assert!((back - x).abs() < 2.0, "{back} is not where it was, {x}");
    assert_eq!(corrected(&mut page), found);
    page.close();
}

/// Only the cells of one film over one ground have fewer pixels than before.
#[track_caller]
fn assert_pixels_of_one_film_and_ground(before: &Value, after: &Value, film: usize) {
    let changed: Vec<usize> = (0..pixels(before).len())
        .filter(|&i| pixels(before)[i] != pixels(after)[i])
        .collect();
    assert_eq!(changed.len(), 1, "{changed:?}");
    assert_eq!(before["cells"][changed[0]]["film"], film);
    assert!(pixels(after)[changed[0]] < pixels(before)[changed[0]]);
}

#[test]
fn several_cards_of_one_scan_are_named_and_kept_apart() {
    let (_server, _profile, mut page) = open();
    let folder = Folder::new("several");
    let (left, right) = (plain(5), plain(1));
    let gap = 60;
    let height = left.height().max(right.height());
    let mut both = RgbImage::from_pixel(
        left.width() + gap + right.width(),
        height,
        *left.get_pixel(3, 3),
    );
    imageops::replace(&mut both, &left, 0, 0);
    imageops::replace(&mut both, &right, i64::from(left.width() + gap), 0);
    let scan = saved(&folder, "both.png", &both);
    let native = folder.path().join("native");
    let read = Command::new(env!("CARGO_BIN_EXE_twoground"))
        .arg("read")
        .arg(&scan)
        .arg("--out")
        .arg(&native)
        .status()
        .expect("the program starts");
    assert!(read.success());

    read_next(&mut page, &scan);
    let tab = |n: usize| format!("#card [data-part=cards] button:nth-of-type({n})");
    for (n, name) in [(1, "First of two"), (2, "Second of two")] {
        page.click(&tab(n));
        page.wait("!document.querySelector('#card .busy')");
        let record = corrected(&mut page);
        assert_eq!(
            record,
            unlabelled(json_file(&native.join(format!("both-{n}.json"))))
        );
        name_and_keep(&mut page, name);
    }
    page.screenshot("two-cards");
    // Each keeps its own name, and its corrections.
    page.click("#card [data-grip=film-0]");
    let without = corrected(&mut page);
    page.click(&tab(1));
    page.wait("document.querySelector('#card input[name=name]').value === 'First of two'");
    page.click(&tab(2));
    page.wait("document.querySelector('#card input[name=name]').value === 'Second of two'");
    assert_eq!(corrected(&mut page), without);
    shelf_has(&mut page, 2);
    let names = page.evaluate(
        "[...document.querySelectorAll('#tubes [data-kept] h2')].map((e) => e.textContent)",
    );
    // The newest first.
    assert_eq!(names, json!(["Second of two", "First of two"]));

    // What is no card goes, and comes back.
    go(&mut page, "cards");
    page.click("#card [data-part=cards] .quiet");
    page.wait("document.querySelector('#card [data-part=cards]').hidden");
    page.click("#card [data-do=undo]");
    page.wait("!document.querySelector('#card [data-part=cards]').hidden");
    page.close();
}

#[test]
fn a_picture_can_be_pasted_and_is_told_what_it_lost() {
    let (_server, _profile, mut page) = open();
    let folder = Folder::new("pasted");
    let scan = saved(&folder, "image.png", &plain(1));
    page.wait("document.querySelector('#start [data-say=headline]').textContent");
    let bytes = base64::Engine::encode(
        &base64::engine::general_purpose::STANDARD,
        fs::read(&scan).expect("the file"),
    );
    page.evaluate(&format!(
        "(() => {{ const bytes = Uint8Array.from(atob('{bytes}'), (c) => c.charCodeAt(0));
           const clipboardData = new DataTransfer();
           clipboardData.items.add(new File([bytes], 'image.png', {{ type: 'image/png' }}));
           document.body.dispatchEvent(new ClipboardEvent('paste', {{ clipboardData, bubbles: true }})); }})()"
    ));
    page.wait(READ);
    let said = findings(&mut page);
    assert!(
        said["pasted"].contains("8 bits a channel and no colour profile"),
        "{said:?}"
    );
    let mut pasted = corrected(&mut page);
    let mut native = native_record(&scan);
    assert_eq!(
        pasted["findings"]
            .as_array()
            .and_then(|f| f.last())
            .expect("a finding")["code"],
        "pasted"
    );
    pasted["findings"].take();
    native["findings"].take();
    assert_eq!(pasted, native);
    page.close();
}

#[test]
fn a_second_scan_is_averaged_or_counts_as_the_scanners_spread() {
    let (_server, _profile, mut page) = open();
    let folder = Folder::new("second");
    let first = plain(5);
    let mut brighter = first.clone();
    for value in brighter.iter_mut() {
        *value = (f64::from(*value) * 1.06).min(255.0) as u8;
    }
    let scan = saved(&folder, "first.png", &first);
    let turned = saved(&folder, "turned.png", &imageops::rotate180(&first));
    let brighter = saved(&folder, "brighter.png", &brighter);
    read_next(&mut page, &scan);
    let alone = corrected(&mut page);
    let sd = |record: &Value| record["opacity"]["milk_sd"].as_f64().expect("a number");
    let lightness = |record: &Value| {
        record["stripes"]["white_xyz"][1]
            .as_f64()
            .expect("a number")
    };

    page.upload("#second", std::slice::from_ref(&turned));
    page.wait("document.querySelector('#card [data-finding=second-agrees]') !== null");
    let averaged = corrected(&mut page);
    assert!(findings(&mut page)["second-agrees"].contains("turned.png"));
    assert!(sd(&averaged) <= sd(&alone));
    assert!((lightness(&averaged) - lightness(&alone)).abs() < 0.005);

    page.upload("#second", std::slice::from_ref(&brighter));
    page.wait("document.querySelector('#card [data-finding=second-differs]') !== null");
    let spread = corrected(&mut page);
    assert!(
        sd(&spread) > sd(&alone),
        "{} after {}",
        sd(&spread),
        sd(&alone)
    );
    assert!(lightness(&spread) > lightness(&alone) + 0.01);

    // Another card is none of this one, and changes nothing.
    page.upload("#second", &[samples::samples()[1].scan.clone()]);
    page.wait_for_text("The second scan looks like another card.");
    assert_eq!(corrected(&mut page), spread);
    page.click("#card [data-finding=second-differs] [data-act=drop-second]");
    assert_eq!(corrected(&mut page), alone);
    page.close();
}

#[test]
fn a_white_that_was_measured_counts_and_an_odd_one_is_refused() {
    let (_server, _profile, mut page) = open();
    read(&mut page, &samples::samples()[0].scan);
    let before = corrected(&mut page);
    page.click("#card [data-fold=white] > summary");
    page.click("#white");
    page.type_text("96,0");
    page.press("Tab");
    let after = corrected(&mut page);
    // L* 96 is Y 0.9001 (CIE 15).
    let y = after["stripes"]["white_xyz"][1].as_f64().expect("a number");
    assert!((y - 0.9001).abs() < 1e-3, "{y}");
    assert_eq!(
        after["basis"]["white_reference"],
        "the white stripe, measured as L* 96"
    );
    page.evaluate("document.querySelector('#white').select()");
    page.click("#white");
    page.evaluate("document.querySelector('#white').value = ''");
    page.type_text("9.6");
    page.press("Tab");
    page.wait_for_text("lies between 60 and 100");
    assert_eq!(corrected(&mut page), after);
    page.evaluate("document.querySelector('#white').value = ''");
    page.evaluate("document.querySelector('#white').dispatchEvent(new Event('change'))");
    assert_eq!(corrected(&mut page), before);
    page.close();
}

#[test]
fn a_second_upload_takes_the_place_of_one_that_is_being_read() {
    let (_server, _profile, mut page) = open();
    let folder = Folder::new("long-first");
    let long = saved(
        &folder,
        "long.png",
        &RgbImage::from_pixel(9_000, 8_000, image::Rgb([200, 200, 200])),
    );
    page.upload("#scan", &[long]);
    page.wait("!document.querySelector('#progress').hidden");
    let scan = &samples::samples()[0].scan;
    read_next(&mut page, scan);
    assert_eq!(corrected(&mut page), native_record(scan));
    page.close();
}
