//! The shelf: sorted, filtered and compared; changes taken back; copies out and in; two windows; a reload in mid-reading.

use super::*;

/// Puts samples on the shelf.
fn keep_samples(page: &mut Browser, count: usize) {
    go(page, "tubes");
    let files: Vec<PathBuf> = samples::samples()
        .into_iter()
        .take(count)
        .rev()
        .map(|sample| sample.pigment)
        .collect();
    page.upload("#pigment", &files);
    page.wait(&format!(
        "document.querySelectorAll('#tubes [data-kept]').length === {count}"
    ));
}

/// Names on the shelf, in order.
fn names(page: &mut Browser) -> Vec<String> {
    let names = page.evaluate(
        "[...document.querySelectorAll('#tubes [data-kept] h2')].map((h) => h.textContent)",
    );
    let names = names.as_array().expect("a list");
    names
        .iter()
        .map(|name| name.as_str().expect("a name").to_owned())
        .collect()
}

#[test]
fn the_shelf_is_sorted_filtered_searched_and_compared() {
    let (_server, _profile, mut page) = open();
    keep_samples(&mut page, 6);
    let by_date = names(&mut page);
    page.click("#tubes input[name=sort][value=name]");
    page.wait(&format!(
        "document.querySelector('#tubes [data-kept] h2').textContent !== {:?} || {}",
        by_date[0],
        by_date.is_sorted()
    ));
    page.wait("(() => { const names = [...document.querySelectorAll('#tubes [data-kept] h2')].map((h) => h.textContent); return names.length === 6 && names.every((n, i) => i === 0 || names[i - 1] <= n); })()");
    // By keyboard to the next order and into the search.
    page.press("ArrowLeft");
    page.click("#tubes input[name=search]");
    page.type_text("blue");
    page.wait("document.querySelectorAll('#tubes [data-kept]').length === 1");
    page.wait_for_text("of them shown");
    page.evaluate("(() => { const input = document.querySelector('#tubes input[name=search]'); input.value = ''; input.dispatchEvent(new Event('input', { bubbles: true })); return 1; })()");
    page.wait("document.querySelectorAll('#tubes [data-kept]').length === 6");
    page.evaluate("(() => { const select = document.querySelector('#tubes select[name=grade]'); select.value = 'clear'; select.dispatchEvent(new Event('input', { bubbles: true })); return 1; })()");
    page.wait("document.querySelectorAll('#tubes [data-kept]').length < 6 && document.querySelectorAll('#tubes [data-kept]').length > 0");
    page.evaluate("(() => { const select = document.querySelector('#tubes select[name=grade]'); select.value = ''; select.dispatchEvent(new Event('input', { bubbles: true })); return 1; })()");
    page.wait("document.querySelectorAll('#tubes [data-kept]').length === 6");
    // Compared, by pointer and by key.
    page.click("#tubes [data-kept]:nth-child(1) input[type=checkbox]");
    page.wait_for_text("Choose another to see what sets them apart.");
    page.focus("#tubes [data-kept]:nth-child(2) input[type=checkbox]");
    page.press(" ");
    page.wait("document.querySelectorAll('[data-compared]').length === 2");
    page.wait_for_text("Not the same as");
    page.screenshot("compared");
    // Rows that have not changed are the same elements in another order, and one that was left out comes back without its tick.
    page.evaluate("document.querySelectorAll('#tubes [data-kept]').forEach((row) => (row.before = true)), true");
    page.click("#tubes input[name=sort][value=name]");
    page.wait("(() => { const names = [...document.querySelectorAll('#tubes [data-kept] h2')].map((h) => h.textContent); return names.every((n, i) => i === 0 || names[i - 1] <= n); })()");
    page.evaluate("(() => { const input = document.querySelector('#tubes input[name=search]'); input.value = 'no tube at all'; input.dispatchEvent(new Event('input', { bubbles: true })); return 1; })()");
    page.wait("document.querySelectorAll('#tubes [data-kept]').length === 0");
    page.evaluate("(() => { const input = document.querySelector('#tubes input[name=search]'); input.value = ''; input.dispatchEvent(new Event('input', { bubbles: true })); return 1; })()");
    page.wait("document.querySelectorAll('#tubes [data-kept]').length === 6");
    page.wait("[...document.querySelectorAll('#tubes [data-kept]')].every((row) => row.before && !row.querySelector('input[type=checkbox]').checked)");
    page.close();
}

#[test]
fn every_change_can_be_taken_back_and_made_again_after_a_reload_too() {
    let (_server, _profile, mut page) = open();
    keep_samples(&mut page, 3);
    let before = names(&mut page);
    page.click("#tubes [data-kept]:nth-child(2) button[aria-label^=Delete]");
    page.click("#delete button[value=yes]");
    page.wait("document.querySelectorAll('#tubes [data-kept]').length === 2");
    page.wait_for_text("Last: deleting");
    page.reload();
    shelf_has(&mut page, 2);
    page.wait("document.querySelector('#tubes [data-do=undo]').ariaDisabled !== 'true'");
    page.click("#tubes [data-do=undo]");
    // Before the place is chosen again, which says how many are kept.
    page.wait_for_text("Taken back: deleting");
    shelf_has(&mut page, 3);
    assert_eq!(names(&mut page), before);
    // By key, forward again and back.
    page.focus("#tubes [data-do=redo]");
    page.press("Enter");
    page.wait("document.querySelectorAll('#tubes [data-kept]').length === 2");
    page.click("#tubes [data-do=undo]");
    page.wait("document.querySelectorAll('#tubes [data-kept]').length === 3");

    // A label is a change as well.
    page.click("#tubes [data-kept]:nth-child(1) button[aria-label^=Open]");
    page.wait("document.querySelector('#tube input[name=name]')?.value");
    page.evaluate("document.querySelector('#tube input[name=name]').value = ''");
    page.click("#tube input[name=name]");
    page.type_text("Renamed");
    page.press("Enter");
    page.wait_for_text("Kept on this computer.");
    shelf_has(&mut page, 3);
    page.wait("document.querySelector('#tubes [data-kept] h2').textContent === 'Renamed'");
    page.wait_for_text(&format!("Last: renaming {} to Renamed", before[0]));
    page.click("#tubes [data-do=undo]");
    page.wait(&format!(
        "document.querySelector('#tubes [data-kept] h2').textContent === {:?}",
        before[0]
    ));

    // By keys alone: what was in focus is gone, and they go on from the row in its place.
    page.focus("#tubes [data-kept]:nth-child(2) button[aria-label^=Delete]");
    page.press("Enter");
    page.wait("document.querySelector('#delete').open");
    page.press("Tab");
    page.press("Enter");
    page.wait("document.querySelectorAll('#tubes [data-kept]').length === 2");
    page.wait("document.activeElement.closest('#tubes [data-kept]:nth-child(2)') !== null");
    page.press_with("z", 2);
    page.wait("document.querySelectorAll('#tubes [data-kept]').length === 3");
    page.close();
}

#[test]
fn a_copy_goes_out_and_comes_in_with_a_preview() {
    let (server, _profile, mut page) = open();
    keep_samples(&mut page, 3);
    page.click("#tubes [data-do=copy-out]");
    let kept = Folder::new("copy");
    let copy = kept.path().join("copy.json");
    fs::copy(page.download(), &copy).expect("the copy is put elsewhere");
    page.wait_for_text("The last copy was saved today; nothing has changed since.");
    page.close();
    let profile = Folder::new("other");
    let mut page = Browser::open(&profile, &server.origin);
    go(&mut page, "tubes");
    // Tables of the samples for other programs, too.
    page.upload("#copy-in", std::slice::from_ref(&copy));
    page.wait_for_text("3 new here");
    page.click("[data-do=take-in]");
    page.wait("document.querySelectorAll('#tubes [data-kept]').length === 3");
    // One label changed: the same copy now differs by it, and nothing is overwritten unless chosen.
    page.click("#tubes [data-kept]:nth-child(1) button[aria-label^=Open]");
    page.wait("document.querySelector('#tube input[name=name]')?.value");
    page.click("#tube input[name=name]");
    page.type_text(" mine");
    page.press("Enter");
    page.wait_for_text("Kept on this computer.");
    shelf_has(&mut page, 3);
    page.upload("#copy-in", &[copy]);
    page.wait_for_text("1 here in another way");
    page.click("[data-do=take-in]");
    page.wait_for_text("Nothing had to be changed.");
    assert!(names(&mut page).iter().any(|name| name.contains("mine")));
    // Another kind of file is refused by name.
    let scan = samples::samples()[0].pigment.clone();
    page.upload("#copy-in", &[scan]);
    page.wait_for_text("another kind of file");
    page.close();
}

/// What stands above the rows comes in with them: later it would move them from under the finger.
#[test]
fn rows_come_in_with_all_that_stands_above_them() {
    let (_server, _profile, mut page) = open();
    go(&mut page, "tubes");
    page.wait_for_text("Nothing is kept yet.");
    page.evaluate(
        "(() => { const part = (name) => document.querySelector(`#tubes [data-part=${name}]`);
           window.together = 'no rows';
           new MutationObserver((_, observer) => {
             window.together = !part('steps').hidden && document.querySelector('#tubes [data-do=undo]').ariaDisabled !== 'true';
             observer.disconnect();
           }).observe(part('shelf'), { childList: true }); })()",
    );
    page.upload("#pigment", &[samples::samples()[0].pigment.clone()]);
    shelf_has(&mut page, 1);
    assert_eq!(page.evaluate("window.together"), true);
    page.close();
}

#[test]
fn two_windows_never_overwrite_each_other() {
    let (server, _profile, mut page) = open();
    keep_samples(&mut page, 2);
    page.click("#tubes [data-kept]:nth-child(1) button[aria-label^=Open]");
    page.wait("document.querySelector('#tube input[name=name]')?.value");
    let first = page.window();
    page.new_page();
    page.go(&server.origin);
    shelf_has(&mut page, 2);
    let other = page.window();
    // The other window sees at once what this one keeps.
    page.turn_to(&first);
    page.click("#tube input[name=name]");
    page.type_text(" one");
    page.press("Enter");
    page.wait_for_text("Kept on this computer.");
    page.turn_to(&other);
    page.wait(
        "[...document.querySelectorAll('#tubes h2')].some((h) => h.textContent.endsWith(' one'))",
    );
    // What it deletes is told here, and a change of it does not bring it back or overwrite anything.
    let name = names(&mut page)
        .into_iter()
        .find(|name| name.ends_with(" one"))
        .expect("the changed one");
    page.click(&format!("#tubes [aria-label='Delete: {name}']"));
    page.click("#delete button[value=yes]");
    shelf_has(&mut page, 1);
    page.turn_to(&first);
    page.wait_for_text("This tube was deleted in another window.");
    page.click("#tube [data-do=keep]");
    page.wait_for_text("Not kept: the tube is no longer there.");
    shelf_has(&mut page, 1);
    // Undo here takes back what the other window did.
    page.click("#tubes [data-do=undo]");
    shelf_has(&mut page, 2);
    page.turn_to(&other);
    shelf_has(&mut page, 2);
    page.close();
}

/// Another window's change comes in under what is being typed here: fields that were not touched show, and keep, what it wrote.
#[test]
fn what_is_typed_stays_over_what_another_window_kept_and_over_nothing_else() {
    let (server, _profile, mut page) = open();
    keep_samples(&mut page, 1);
    let open_it = |page: &mut Browser| {
        page.click("#tubes [data-kept] button[aria-label^=Open]");
        page.wait("document.querySelector('#tube input[name=name]')?.value");
    };
    open_it(&mut page);
    let first = page.window();
    page.new_page();
    page.go(&server.origin);
    shelf_has(&mut page, 1);
    let other = page.window();
    open_it(&mut page);
    page.evaluate(
        "document.querySelectorAll('#tube details').forEach((fold) => { fold.open = true; })",
    );
    page.click("#tube input[name=batch]");
    page.type_text("second");
    page.turn_to(&first);
    page.evaluate("document.querySelector('#tube input[name=name]').value = ''");
    page.click("#tube input[name=name]");
    page.type_text("Renamed");
    page.press("Enter");
    page.wait_for_text("Kept on this computer.");
    page.turn_to(&other);
    page.wait_for_text("This tube was changed in another window; this is how it is now.");
    page.wait_for_text("What you typed here is still in the form.");
    let form = "['name', 'batch'].map((name) => document.querySelector(`#tube input[name=${name}]`).value)";
    assert_eq!(page.evaluate(form), json!(["Renamed", "second"]));
    // Something else of the tube is changed here: what is typed is still there.
    page.click("#tube [data-part=own-coats] summary");
    page.click("#tube [data-part=own-coats] button");
    page.wait_for_text("Kept so on this computer.");
    assert_eq!(page.evaluate(form), json!(["Renamed", "second"]));
    page.click("#tube [data-do=keep]");
    page.wait_for_text("Kept on this computer.");
    go(&mut page, "tubes");
    page.wait("['Renamed', 'batch second'].every((words) => document.querySelector('#tubes [data-kept]').textContent.includes(words))");
    page.close();
}

/// A tube that another window deleted cannot be kept over; what was typed leaves as a file, or is kept once the tube is back.
#[test]
fn a_tube_deleted_in_another_window_is_told_with_a_way_on() {
    let (server, _profile, mut page) = open();
    keep_samples(&mut page, 1);
    page.click("#tubes [data-kept] button[aria-label^=Open]");
    page.wait("document.querySelector('#tube input[name=name]')?.value");
    let here = page.window();
    page.new_page();
    page.go(&server.origin);
    shelf_has(&mut page, 1);
    let other = page.window();
    page.click("#tubes [data-kept] button[aria-label^=Delete]");
    page.click("#delete button[value=yes]");
    shelf_has(&mut page, 0);
    page.turn_to(&here);
    page.wait_for_text("This tube was deleted in another window. Undo on Tubes brings it back.");
    page.evaluate("document.querySelector('#tube input[name=name]').value = 'typed meanwhile'");
    page.click("#tube [data-do=keep]");
    page.wait_for_text("Not kept: the tube is no longer there.");
    page.click("#tube [data-say=keep] button");
    assert_eq!(
        json_file(&page.download())["paint"]["name"],
        "typed meanwhile"
    );
    page.turn_to(&other);
    page.click("#tubes [data-do=undo]");
    shelf_has(&mut page, 1);
    page.turn_to(&here);
    page.wait_for_text("This tube was brought back.");
    page.click("#tube [data-do=keep]");
    page.wait_for_text("Kept on this computer. Undo is on Tubes.");
    assert_eq!(
        page.evaluate("document.querySelector('#alert').hidden"),
        true
    );
    page.close();
}

/// Pigment files are taken in wherever they are dropped.
#[test]
fn a_pigment_file_that_is_dropped_is_taken_in() {
    let (_server, _profile, mut page) = open();
    let file = samples::samples()[0]
        .scan
        .with_file_name("net-brown.pigment.json");
    page.drop_files("#start [data-part=drop]", &[file]);
    shelf_has(&mut page, 1);
    page.close();
}

#[test]
fn a_picture_painted_on_in_two_windows_becomes_two() {
    let (_server, _profile, mut page) = open();
    keep_samples(&mut page, 1);
    go(&mut page, "picture");
    page.wait("document.querySelector('#picture [data-say=saved]').textContent === 'Saved on this computer.'");
    page.evaluate(
        "import('./engine.js').then(async ({ Engine }) => { const engine = new Engine(); const [saved] = await engine.call('pictures'); const other = JSON.parse(saved.text); other.notes = 'from elsewhere'; return engine.call('save_picture', [saved.id, saved.text, JSON.stringify(other)]); }).then(({ beside }) => beside)",
    );
    page.click("#picture [data-do=more]");
    page.wait_for_text("saved beside it, as a second picture");
    page.wait("document.querySelector('#picture [data-part=name]').value.endsWith(', second')");
    page.click("#picture [data-do=pictures]");
    page.wait("document.querySelectorAll('#picture [data-picture]').length === 2");
    page.close();
}

#[test]
fn a_reading_in_progress_survives_a_reload_and_a_killed_window() {
    let (server, profile, mut page) = open();
    read(&mut page, &samples::samples()[0].scan);
    page.focus("#card [data-grip=film-0-bottom]");
    page.press("ArrowUp");
    let corrected_record = corrected(&mut page);
    page.click("#card input[name=name]");
    page.type_text("Half done");
    // It is held soon after the last key.
    page.evaluate("new Promise((done) => setTimeout(() => done(1), 1200))");
    page.reload();
    page.wait(READ);
    page.wait("document.querySelector('#card input[name=name]').value === 'Half done'");
    assert_eq!(corrected(&mut page), corrected_record);
    page.evaluate("new Promise((done) => setTimeout(() => done(1), 1200))");
    page.kill();

    let mut page = Browser::open(&profile, &server.origin);
    page.wait_for_text("was being read when its window closed");
    page.click("#start [data-do=go-on]");
    page.wait(READ);
    assert_eq!(corrected(&mut page), corrected_record);
    page.click("#card [data-do=another]");
    page.wait("!document.querySelector('#start').hidden");
    // What is held is dropped behind that.
    page.evaluate("new Promise((done) => setTimeout(() => done(1), 1200))");
    page.reload();
    page.wait("document.querySelector('#start [data-say=headline]').textContent");
    assert_eq!(
        page.evaluate("document.querySelector('#start [data-part=left]').hidden"),
        true
    );
    page.close();
}

/// A reload may come while the scan is still being read, and while another is open.
#[test]
fn a_scan_that_is_being_read_survives_a_reload() {
    let (_server, _profile, mut page) = open();
    read(&mut page, &samples::samples()[0].scan);
    page.click("#card input[name=name]");
    page.type_text("The first");
    page.evaluate("new Promise((done) => setTimeout(() => done(1), 1200))");
    let next = samples::samples().swap_remove(1);
    page.upload("#scan", std::slice::from_ref(&next.scan));
    page.wait("document.querySelector('#progress [data-stage=finding].now, #progress [data-stage=sampling].now, #progress [data-stage=fitting].now')");
    page.reload();
    page.wait(READ);
    page.wait("document.querySelector('#card input[name=name]').value === ''");
    let name = next.scan.file_name().expect("a name").to_string_lossy();
    let record = json_file(&export(&mut page, "#card"));
    assert_eq!(record["provenance"]["file_name"], *name);
    // One that cannot be read leaves what is open as it was, also after a reload.
    page.click("#card input[name=name]");
    page.type_text("The second");
    page.evaluate("new Promise((done) => setTimeout(() => done(1), 1200))");
    page.upload(
        "#scan",
        &[PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("Cargo.toml")],
    );
    page.wait("!document.querySelector('#alert').hidden");
    page.evaluate("new Promise((done) => setTimeout(() => done(1), 1200))");
    page.reload();
    page.wait(READ);
    page.wait("document.querySelector('#card input[name=name]').value === 'The second'");
    page.close();
}

/// A card that is opened from a table of scans goes back to it as it was answered and named; kept alone, it is not kept once more. A table
/// takes the place of the scan that is open.
#[test]
fn a_card_of_a_table_comes_back_as_it_is_now() {
    let (_server, _profile, mut page) = open();
    let files: Vec<PathBuf> = samples::samples()
        .into_iter()
        .take(2)
        .map(|sample| sample.scan)
        .collect();
    read(&mut page, &files[0]);
    page.click(".brand");
    page.wait("!document.querySelector('#start').hidden");
    page.upload("#scan", &files);
    page.wait("!document.querySelector('#class').hidden && document.querySelector('#card').hidden");
    let all = "document.querySelectorAll('#class tbody tr').length === 2 && !document.querySelector('#class [data-do=keep-all]').disabled";
    page.wait(all);
    let open_row = |page: &mut Browser, row: usize| {
        page.click(&format!("#class tbody tr:nth-child({row}) button"));
        page.wait(READ);
        page.wait("!document.querySelector('#card [data-do=to-table]').hidden && document.querySelector('#card [data-do=another]').hidden");
    };
    let surface = "document.querySelector('#card input[name=surface]:checked').value";
    // Answered and named, not kept.
    open_row(&mut page, 1);
    page.evaluate("document.querySelector('#card input[name=surface][value=matt]').click()");
    page.wait("!document.querySelector('#card .busy')");
    page.evaluate("document.querySelector('#card input[name=name]').value = ''");
    page.click("#card input[name=name]");
    page.type_text("Answered");
    page.click("#card [data-do=to-table]");
    page.wait("!document.querySelector('#class').hidden && document.querySelector('#class tbody tr input').value === 'Answered'");
    // Kept alone, after a reload in the middle of it.
    open_row(&mut page, 2);
    page.evaluate("document.querySelector('#card input[name=name]').value = ''");
    name_and_keep(&mut page, "Kept alone");
    page.evaluate("new Promise((done) => setTimeout(() => done(1), 1200))");
    page.reload();
    page.wait(READ);
    page.wait_for_text("Kept on this computer.");
    page.click("#card [data-do=to-table]");
    page.wait("!document.querySelector('#class').hidden");
    page.wait(all);
    page.wait("document.querySelectorAll('#class tbody input').length === 1");
    // Opened again, it is as it was left.
    open_row(&mut page, 1);
    assert_eq!(page.evaluate(surface), "matt");
    assert_eq!(
        page.evaluate("document.querySelector('#card input[name=name]').value"),
        "Answered"
    );
    page.click("#card [data-do=to-table]");
    page.wait("!document.querySelector('#class').hidden");
    page.click("#class [data-do=keep-all]");
    page.wait("location.hash === '#tubes'");
    shelf_has(&mut page, 2);
    let mut kept = names(&mut page);
    kept.sort();
    assert_eq!(kept, ["Answered", "Kept alone"]);
    page.wait_for_text("2 paints kept on this computer.");
    page.close();
}

#[test]
fn many_scans_become_a_table_with_reasons_and_are_kept_together() {
    let (server, profile, mut page) = open();
    let folder = Folder::new("class");
    let bad = folder.path().join("holiday.png");
    image::RgbImage::from_pixel(300, 200, image::Rgb([90, 120, 60]))
        .save(&bad)
        .expect("a picture");
    let mut files: Vec<PathBuf> = samples::samples()
        .into_iter()
        .take(3)
        .map(|sample| sample.scan)
        .collect();
    files.push(bad);
    page.upload("#scan", &files);
    // Half of it is enough to go on with after a reload.
    page.wait("document.querySelectorAll('#class tbody tr').length >= 2");
    let rows = |page: &mut Browser| {
        page.wait("document.querySelectorAll('#class tbody tr').length === 4 && !document.querySelector('#class [data-do=keep-all]').disabled");
        page.wait_for_text("3 cards were read, 1 was not");
        page.wait_for_text("Not read.");
        page.wait_for_text("No card was found in this picture.");
    };
    let held = "new Promise((done) => setTimeout(() => done(1), 600))";
    page.evaluate(held);
    page.reload();
    rows(&mut page);
    // A row that is damaged is no paint to keep: the scans are read anew.
    page.evaluate(held);
    page.evaluate(
        "import('./engine.js').then(async ({ Engine }) => { const engine = new Engine();
           const name = (await engine.call('held_works')).find((name) => name.endsWith(':rows'));
           const state = await engine.call('held_work', [name]);
           state.rows[0].text = 'no pigment file';
           await engine.call('hold_work', [name, state]); })",
    );
    page.reload();
    rows(&mut page);
    // Two rows under one name are readings of one tube.
    for row in [1, 2] {
        page.evaluate(&format!("(() => {{ const input = document.querySelector('#class tbody tr:nth-child({row}) input'); input.value = 'Same tube'; input.dispatchEvent(new Event('change')); return 1; }})()"));
    }
    page.wait_for_text("2 readings of this tube.");
    page.screenshot("class");
    // So do the names that were typed, also where the whole browser was killed.
    page.evaluate(held);
    page.kill();
    let mut page = Browser::open(&profile, &server.origin);
    page.wait_for_text("A table of 4 scans, 4 of them read, was open when its window closed.");
    page.click("#start [data-do=go-on]");
    rows(&mut page);
    page.wait_for_text("2 readings of this tube.");
    page.click("#class [data-do=keep-all]");
    // What could not be read stays in the table: nowhere else stands what to do about it.
    page.wait_for_text("3 cards kept: see Tubes. One card could not be read");
    page.wait("document.querySelectorAll('#class tbody tr').length === 1 && document.querySelector('#class [data-do=keep-all]').disabled");
    shelf_has(&mut page, 2);
    page.wait_for_text("2 paints in 3 readings kept on this computer.");
    page.screenshot("readings");
    page.click("#tubes [data-do=undo]");
    page.wait_for_text("Taken back: keeping 3 cards.");
    go(&mut page, "cards");
    page.click("#class [data-do=close-class]");
    // It is done with: nothing is offered again.
    page.reload();
    go(&mut page, "cards");
    page.wait("document.querySelector('#start [data-say=headline]').textContent");
    assert_eq!(
        page.evaluate("document.querySelector('#start [data-part=left]').hidden"),
        true
    );
    page.close();
}

#[test]
fn cards_are_previewed_and_a_wrong_number_gets_a_sentence() {
    let (_server, _profile, mut page) = open();
    page.click("#start [data-fold=blanks] > summary");
    page.wait("document.querySelector('#start [data-part=preview] img')?.naturalWidth > 0");
    page.screenshot("blanks");
    page.evaluate("(() => { const input = document.querySelector('#start input[name=count]'); input.value = 'many'; input.dispatchEvent(new Event('change', { bubbles: true })); return 1; })()");
    page.wait_for_text("How many cards is a whole number from 1 to 200.");
    // So does a label that the codes cannot hold, with what a scan will bring back of it.
    page.evaluate("(() => { for (const [name, value] of [['count', '1'], ['labels', 'An earth from the quarry behind the old harbour wall']]) { const field = document.querySelector(`#start [name=${name}]`); field.value = value; field.dispatchEvent(new Event('change', { bubbles: true })); } return 1; })()");
    page.wait_for_text(
        "the codes hold only “An earth from the quarry behind th”, and a scan brings back no more.",
    );
    page.close();
}

/// A tube that an older fit read otherwise: what would change is told first, then taken, then taken back.
#[test]
fn an_old_card_is_read_again_from_its_cells() {
    let (_server, _profile, mut page) = open();
    let folder = crate::devtools::Folder::new("reread");
    let text = std::fs::read_to_string(&samples::samples()[0].pigment).expect("a sample");
    let mut old: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    for k in old["absorption"].as_array_mut().expect("K") {
        *k = (2.0 * k.as_f64().expect("a number")).into();
    }
    let file = folder.path().join("old.json");
    std::fs::write(&file, old.to_string()).expect("a file");
    go(&mut page, "tubes");
    page.upload("#pigment", &[file]);
    shelf_has(&mut page, 1);
    page.click("#tubes [data-kept] button[aria-label^=Open]");
    page.click("#tube [data-do=reread]");
    page.wait_for_text("outside the range of");
    page.screenshot("tube-reread");
    page.click("#tube [data-do=take-reread]");
    page.wait_for_text("Kept so on this computer.");
    page.click("#tube [data-do=reread]");
    page.wait_for_text("No colour of this card’s films would change");
    go(&mut page, "tubes");
    page.click("#tubes [data-do=undo]");
    page.wait_for_text("Taken back");
    page.click("#tubes [data-kept] button[aria-label^=Open]");
    page.click("#tube [data-do=reread]");
    page.wait_for_text("outside the range of");
    page.close();
}

/// Right to left, overriding the direction, emoji, and a word without an end.
#[test]
fn a_label_of_any_writing_breaks_no_screen() {
    let (_server, _profile, mut page) = open();
    let name = format!(
        "\u{5e9}\u{5dc}\u{5d5}\u{5dd} \u{202e}evil \u{1f3a8}\u{fe0f} {}",
        "\u{e4}".repeat(170)
    );
    read(&mut page, &samples::samples()[0].scan);
    name_and_keep(&mut page, &name);
    for [width, height] in [[1280, 900], [390, 844]] {
        page.viewport(width, height);
        for place in ["cards", "tubes", "picture"] {
            go(&mut page, place);
            if place == "tubes" {
                shelf_has(&mut page, 1);
                // As it was typed, but for the mark that would write backwards what stands after it.
                assert_eq!(names(&mut page), [name.replace('\u{202e}', "")]);
            }
            if place == "picture" {
                picture::picture_has(&mut page, 1);
            }
            let over = page.evaluate(
                "document.documentElement.scrollWidth - document.documentElement.clientWidth",
            );
            assert_eq!(over, 0, "{width}, {place}");
        }
    }
    page.close();
}
