//! What goes wrong under the page: the browser killed while it saves, the storage cleared, the worker gone.

use super::*;

/// How often the browser is killed in one run. Many more with `TWOGROUND_KILLS=100`.
fn kills() -> u64 {
    std::env::var("TWOGROUND_KILLS").map_or(4, |text| text.parse().expect("a number"))
}

/// Whatever the moment, a paint is kept whole or not at all, nothing kept before is touched, and what the page said was
/// kept is there.
#[test]
fn a_browser_killed_while_it_saves_loses_nothing_that_was_kept() {
    let server = Server::start();
    let profile = Folder::new("profile");
    let scan = &samples::samples()[0].scan;
    let mut kept = 0;
    for turn in 0..kills() {
        let mut page = Browser::open(&profile, &server.origin);
        shelf_has(&mut page, kept);
        go(&mut page, "cards");
        read(&mut page, scan);
        page.click("#card input[name=name]");
        page.type_text(&format!("paint {turn}"));
        page.click("#card [data-do=keep]");
        // A different moment every time, from at once to well after.
        std::thread::sleep(std::time::Duration::from_micros(turn * 7919 % 120_000));
        let said = page.evaluate("document.body.innerText.includes('Kept on this computer.')");
        page.kill();
        let mut page = Browser::open(&profile, &server.origin);
        go(&mut page, "tubes");
        page.wait("!document.querySelector('#tubes').hidden");
        page.wait(&format!(
            "document.querySelectorAll('#tubes [data-kept]').length >= {kept}"
        ));
        let shown = page.evaluate("import('./engine.js').then(({ Engine }) => new Engine().call('shelf')).then((all) => all.map(({ paint }) => paint !== null))");
        let shown = shown.as_array().expect("a list").clone();
        assert!(
            shown.iter().all(|whole| whole == true),
            "turn {turn}: a damaged paint"
        );
        let now = shown.len();
        assert!(
            now == kept || now == kept + 1,
            "turn {turn}: {kept} kept, then {now}"
        );
        assert!(
            now == kept + 1 || said == false,
            "turn {turn}: said to be kept, and is not there"
        );
        shelf_has(&mut page, now);
        kept = now;
        page.close();
    }
}

#[test]
fn storage_cleared_under_the_open_page_loses_only_what_was_cleared() {
    let (server, _profile, mut page) = open();
    read(&mut page, &samples::samples()[0].scan);
    name_and_keep(&mut page, "first");
    page.call_page(
        "Storage.clearDataForOrigin",
        json!({"origin": server.origin, "storageTypes": "indexeddb"}),
    );
    shelf_has(&mut page, 0);
    page.wait_for_text(GONE);
    // The reading in hand is kept anew, under whatever number there is.
    go(&mut page, "cards");
    page.click("#card [data-do=keep]");
    page.wait_for_text("or is gone.");
    shelf_has(&mut page, 1);
    // All that is remembered goes with it, and still it is told.
    page.call_page(
        "Storage.clearDataForOrigin",
        json!({"origin": server.origin, "storageTypes": "indexeddb,local_storage"}),
    );
    go(&mut page, "cards");
    shelf_has(&mut page, 0);
    page.wait_for_text(GONE);
    page.close();
}

const GONE: &str = "This browser held tubes or pictures of yours here before, and they are gone";

/// What is kept next must not hide that everything before is gone: a browser short of room takes a page's data without a word.
#[test]
fn what_is_kept_after_a_loss_does_not_hide_it() {
    let (server, _profile, mut page) = open();
    read(&mut page, &samples::samples()[0].scan);
    name_and_keep(&mut page, "first");
    shelf_has(&mut page, 1);
    page.call_page(
        "Storage.clearDataForOrigin",
        json!({"origin": server.origin, "storageTypes": "indexeddb"}),
    );
    go(&mut page, "cards");
    page.click("#card [data-do=another]");
    page.wait("!document.querySelector('#start').hidden");
    read(&mut page, &samples::samples()[1].scan);
    name_and_keep(&mut page, "second");
    page.wait_for_text(GONE);
    page.reload();
    shelf_has(&mut page, 1);
    page.wait("!document.querySelector('#tubes [data-part=gone]').hidden");
    page.click("#tubes [data-do=known]");
    page.wait("document.querySelector('#tubes [data-part=gone]').hidden");
    // What the painter deletes is not lost.
    page.click("#tubes [data-kept] button[aria-label^=Delete]");
    page.click("#delete button[value=yes]");
    shelf_has(&mut page, 0);
    page.reload();
    shelf_has(&mut page, 0);
    assert_eq!(
        page.evaluate("document.querySelector('#tubes [data-part=gone]').hidden"),
        true
    );
    page.close();
}

/// A window may go while its scan is still being read, or again after the reading was gone on with.
#[test]
fn a_reading_is_offered_again_however_often_its_window_goes() {
    let (server, profile, mut page) = open();
    // As far as a window comes that goes while it reads: only the scan is held.
    let scan = &samples::samples()[0].scan;
    read(&mut page, scan);
    page.evaluate("new Promise((done) => setTimeout(() => done(1), 1200))");
    page.evaluate(
        "import('./engine.js').then(async ({ Engine }) => { const engine = new Engine();
           const name = (await engine.call('held_works')).find((name) => !name.includes(':'));
           await engine.call('drop_work', [name]); return 1; })",
    );
    page.kill();
    for _ in 0..2 {
        let mut page = Browser::open(&profile, &server.origin);
        page.wait_for_text("was being read when its window closed");
        page.click("#start [data-do=go-on]");
        page.wait(READ);
        page.evaluate("new Promise((done) => setTimeout(() => done(1), 1500))");
        page.kill();
    }
    let mut page = Browser::open(&profile, &server.origin);
    page.wait_for_text("was being read when its window closed");
    page.close();
}

/// What is kept before a reload is not said to be lost after it.
#[test]
fn a_kept_reading_is_not_called_lost_after_a_reload() {
    let (_server, _profile, mut page) = open();
    read(&mut page, &samples::samples()[0].scan);
    name_and_keep(&mut page, "kept");
    page.evaluate("new Promise((done) => setTimeout(() => done(1), 1200))");
    page.reload();
    page.wait(READ);
    page.click("#card [data-do=another]");
    page.wait("!document.querySelector('#start').hidden");
    assert_eq!(
        page.evaluate("document.querySelector('#start [data-part=aside]').hidden"),
        true
    );
    page.close();
}

/// Where the browser may not keep anything, every place opens, a scan is read, and its paint and the picture leave as files.
#[test]
fn a_browser_that_keeps_nothing_still_reads_and_saves_files() {
    let server = Server::start();
    let profile = Folder::new("blocked");
    let settings = profile.path().join("Default");
    fs::create_dir_all(&settings).expect("a folder");
    // As a painter sets it in Chromium: no page may store anything (2 blocks).
    let blocked = json!({"profile": {"default_content_setting_values": {"cookies": 2}}});
    fs::write(settings.join("Preferences"), blocked.to_string()).expect("settings");
    let mut page = Browser::open(&profile, &server.origin);
    page.wait("!document.querySelector('#start').hidden");
    page.wait("document.querySelector('#start [data-say=headline]').textContent");
    read(&mut page, &samples::samples()[0].scan);
    page.click("#card input[name=name]");
    page.type_text("Not to be kept");
    page.click("#card [data-do=keep]");
    page.wait("document.querySelector('#card [data-say=keep]').textContent.includes('allow this page to store data')");
    page.click("#card [data-say=keep] button");
    let saved = json_file(&page.download());
    assert_eq!(saved["paint"]["name"], "Not to be kept");
    go(&mut page, "tubes");
    page.wait_for_text("Your tubes cannot be shown.");
    go(&mut page, "picture");
    page.wait("document.querySelectorAll('#picture .tube-row').length > 3");
    page.wait("document.querySelector('#picture [data-say=saved] button')");
    page.click("#picture [data-say=saved] button");
    assert_eq!(json_file(&page.download())["format"], "twoground-shelf");
    // A whole class is read as well, and leaves as one file.
    go(&mut page, "cards");
    page.click("#card [data-do=another]");
    let scans = samples::samples().into_iter().take(2);
    page.upload(
        "#scan",
        &scans.map(|sample| sample.scan).collect::<Vec<_>>(),
    );
    page.wait("document.querySelectorAll('#class tbody tr').length >= 2 && !document.querySelector('#class [data-do=keep-all]').disabled");
    page.wait_for_text("This table will not survive a reload.");
    page.click("#class [data-do=keep-all]");
    page.wait_for_text("allow this page to store data");
    page.click("#class [data-do=save-class]");
    let saved = json_file(&page.download());
    let tubes = saved["tubes"].as_array().expect("tubes");
    assert!(tubes.len() == 2 && tubes[0]["pigment"]["format"] == "twoground-pigment");
    page.close();
}

/// A private window keeps everything while it is open, says that it forgets it, and does.
#[test]
fn a_private_window_says_that_it_forgets_and_what_is_in_hand_leaves_as_files() {
    let (server, profile, mut page) = open();
    let usual = page.window();
    page.private_page();
    page.go(&server.origin);
    read(&mut page, &samples::samples()[0].scan);
    name_and_keep(&mut page, "In private");
    shelf_has(&mut page, 1);
    page.wait_for_text("a private window forgets it when it closes. Save a copy now and then.");
    page.click("#tubes [data-do=copy-out]");
    let saved = json_file(&page.download());
    assert_eq!(saved["tubes"][0]["pigment"]["paint"]["name"], "In private");
    page.screenshot("private");
    // Nothing of it is in the browser's own storage, and nothing is left of it once it is closed.
    page.turn_to(&usual);
    shelf_has(&mut page, 0);
    page.close_private();
    page.private_page();
    page.go(&server.origin);
    shelf_has(&mut page, 0);
    page.close();
    drop(profile);
}

/// A tube whose text was damaged is told by name and stands in nobody's way: its text leaves as it is, and it can be deleted and brought
/// back.
#[test]
fn a_damaged_tube_is_told_and_the_others_stay() {
    let (_server, _profile, mut page) = open();
    read(&mut page, &samples::samples()[0].scan);
    name_and_keep(&mut page, "whole");
    page.click("#card [data-do=another]");
    page.wait("!document.querySelector('#start').hidden");
    read(&mut page, &samples::samples()[1].scan);
    name_and_keep(&mut page, "to be damaged");
    shelf_has(&mut page, 2);
    page.evaluate(
        "new Promise((done, failed) => {
           const asked = indexedDB.open('twoground');
           asked.onsuccess = () => {
             const change = asked.result.transaction('paints', 'readwrite');
             change.objectStore('paints').put('{\"format\": \"twoground-pigm', 2);
             change.objectStore('paints').put('not kept by this page', 'a stray key');
             change.oncomplete = () => { asked.result.close(); done(1); };
           };
           asked.onerror = failed; })",
    );
    page.reload();
    shelf_has(&mut page, 2);
    page.wait_for_text("Paint 2, damaged");
    page.wait_for_text("What is kept of this paint is damaged.");
    page.click("#tubes [aria-label='Export: Paint 2, damaged']");
    let saved = fs::read_to_string(page.download()).expect("its text");
    assert_eq!(saved, "{\"format\": \"twoground-pigm");
    page.click("#tubes [aria-label='Delete: Paint 2, damaged']");
    page.click("#delete button[value=yes]");
    shelf_has(&mut page, 1);
    page.click("#tubes [data-do=undo]");
    shelf_has(&mut page, 2);
    // The other one opens as ever.
    page.click("#tubes [aria-label='Open: whole']");
    page.wait("document.querySelector('#tube input[name=name]')?.value === 'whole'");
    page.close();
}

/// What is held of a reading in progress is only a note: damaged, the scan is read as if it were new, or not at all.
#[test]
fn a_damaged_note_of_a_reading_in_progress_stops_nothing() {
    let (_server, _profile, mut page) = open();
    let scan = &samples::samples()[0].scan;
    let read_new = native_record(scan);
    for (damaged, goes_on) in [
        (json!({"layout": "{\"at\": 0, \"cards\": [{}]}"}), true),
        (json!({"layout": "[".repeat(100_000)}), true),
        (json!({"layout": 7}), false),
        (json!({"sheets": [{"label": null}]}), false),
    ] {
        read(&mut page, scan);
        page.focus("#card [data-grip=film-0-bottom]");
        page.press("ArrowUp");
        assert_ne!(corrected(&mut page), read_new);
        // Held a moment after the last change.
        page.evaluate("new Promise((done) => setTimeout(() => done(1), 600))");
        page.evaluate(&format!(
            "import('./engine.js').then(async ({{ Engine }}) => {{ const engine = new Engine();
               const name = (await engine.call('held_works')).find((name) => !name.includes(':'));
               await engine.call('hold_work', [name, {{ ...(await engine.call('held_work', [name])), ...{damaged} }}]); }})"
        ));
        page.reload();
        if goes_on {
            page.wait(READ);
            assert_eq!(corrected(&mut page), read_new);
            page.click("#card [data-do=another]");
        }
        page.wait("!document.querySelector('#start').hidden");
    }
    page.close();
}

/// A browser ends a worker without a word, to the page or to it: as when the memory of the machine runs out.
#[test]
fn a_worker_that_ends_in_the_middle_of_a_fit_is_noticed_and_nothing_is_lost() {
    let (_server, _profile, mut page) = open();
    let scan = &samples::samples()[0].scan;
    read(&mut page, scan);
    name_and_keep(&mut page, "first");
    page.focus("#card [data-grip=film-0-bottom]");
    page.press("ArrowUp");
    let corrected_once = corrected(&mut page);

    // While it fits, and while it waits.
    for stage in ["fitting", "nothing"] {
        page.in_worker(&format!(
            "{{ const post = self.postMessage.bind(self); let ended = false;
               self.postMessage = (told) => {{ if (ended) return; post(told); if (told.stage === '{stage}') {{ ended = true; self.close(); }} }}; }}"
        ));
        if stage == "fitting" {
            page.focus("#card [data-grip=film-0-bottom]");
            page.press("ArrowUp");
            page.wait_for_text("The reader stopped unexpectedly. What you keep is safe");
        } else {
            page.in_worker("self.close()");
        }
        page.wait("!document.querySelector('#card .busy')");
        page.wait("document.querySelector('#progress').hidden");
        // Every correction that was told as made is there, and the next one is made.
        assert_eq!(corrected(&mut page), corrected_once);
    }
    page.focus("#card [data-grip=film-0-bottom]");
    page.press("ArrowUp");
    assert_ne!(corrected(&mut page), corrected_once);
    page.click("#card [data-do=keep]");
    page.wait_for_text("Kept on this computer.");
    shelf_has(&mut page, 1);
    page.close();
}
