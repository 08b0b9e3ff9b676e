//! What the browser keeps (IndexedDB), from a worker: paints, pictures, what was changed, and a reading in progress.
//!
//! A paint is kept as the text of its pigment file and a picture as its own text, under a number that the browser gives
//! out, so that there is one format of each, and one place (`paint::file`, `picture::plan`) where older ones are read. What a
//! change is, is said in [`crate::shelf`]. A change is one transaction and is reported done only once the browser says that
//! it is complete: after a crash it is there whole or not at all.

use js_sys::{Array, Function, Object, Promise, Reflect};
use wasm_bindgen::prelude::*;
use wasm_bindgen_futures::JsFuture;
use web_sys::{
    DomException, IdbDatabase, IdbOpenDbRequest, IdbRequest, IdbTransaction, IdbVersionChangeEvent,
    WorkerGlobalScope,
};

use crate::{
    Error, Result,
    shelf::{Part, Place, Transaction},
};

const DATABASE: &str = "twoground";
/// Version of the database's structure. A higher one needs a step in [`migrate`].
const VERSION: u32 = 3;
/// Modes of a transaction.
const LOOK: &str = "readonly";
const CHANGE: &str = "readwrite";

/// Readings in progress: whatever the page gives, by a name of the window.
const WORK: &str = "work";

/// Name of a part of the database.
fn name(place: Place) -> &'static str {
    match place {
        Place::Kept(Part::Paints) => "paints",
        Place::Kept(Part::Pictures) => "pictures",
        Place::Changes => "changes",
        Place::About => "about",
    }
}

/// All of them that a change may touch.
const PLACES: [Place; 4] = [
    Place::Kept(Part::Paints),
    Place::Kept(Part::Pictures),
    Place::Changes,
    Place::About,
];

/// An open transaction.
pub struct Open {
    transaction: IdbTransaction,
    doing: &'static str,
}

impl Open {
    async fn ask(
        &self,
        place: &str,
        ask: impl FnOnce(&web_sys::IdbObjectStore) -> std::result::Result<IdbRequest, JsValue>,
    ) -> Result<JsValue> {
        let failed = |error: JsValue| told(self.doing, &error);
        let store = self.transaction.object_store(place).map_err(failed)?;
        let request = ask(&store).map_err(failed)?;
        let answered = Promise::new(&mut |resolve, reject| {
            request.set_onsuccess(Some(&resolve));
            request.set_onerror(Some(&reject));
        });
        match JsFuture::from(answered).await {
            Ok(_) => result(self.doing, &request),
            Err(_) => Err(match request.error() {
                Ok(Some(error)) => failed(error.into()),
                _ => failed(JsValue::UNDEFINED),
            }),
        }
    }
}

impl Transaction for Open {
    async fn read(&self, place: Place, id: u32) -> Result<Option<String>> {
        let value = self
            .ask(name(place), |store| store.get(&JsValue::from(id)))
            .await?;
        if value.is_undefined() {
            return Ok(None);
        }
        Ok(Some(text(&value)))
    }

    async fn write(&self, place: Place, id: Option<u32>, text: &str) -> Result<u32> {
        let text = JsValue::from_str(text);
        let key = self
            .ask(name(place), |store| match id {
                Some(id) => store.put_with_key(&text, &JsValue::from(id)),
                None => store.put(&text),
            })
            .await?;
        number(&key).ok_or_else(|| failed(self.doing, "it gave no number".to_owned()))
    }

    async fn clear(&self, place: Place, id: u32) -> Result<()> {
        self.ask(name(place), |store| store.delete(&JsValue::from(id)))
            .await
            .map(drop)
    }
}

/// Makes a change: all that `work` does becomes true together, or nothing of it. `doing` goes on "The browser's storage".
///
/// # Errors
/// What `work` or the storage says.
pub async fn change<T>(
    doing: &'static str,
    work: impl AsyncFnOnce(&Open) -> Result<T>,
) -> Result<T> {
    within(doing, &PLACES.map(name), CHANGE, work).await
}

/// Looks at what is kept, all of it at one moment.
///
/// # Errors
/// What `work` or the storage says.
pub async fn look<T>(doing: &'static str, work: impl AsyncFnOnce(&Open) -> Result<T>) -> Result<T> {
    within(doing, &PLACES.map(name), LOOK, work).await
}

/// All texts of one kind with their numbers, in the order in which they were first kept.
///
/// # Errors
/// What the storage says.
pub async fn all(open: &Open, part: Part) -> Result<Vec<(u32, String)>> {
    let place = name(Place::Kept(part));
    let keys = Array::from(&open.ask(place, |store| store.get_all_keys()).await?);
    let values = Array::from(&open.ask(place, |store| store.get_all()).await?);
    // Under a key that is no number lies nothing that was kept here: it stays where it is, and stops nothing.
    Ok(keys
        .iter()
        .zip(values.iter())
        .filter_map(|(key, value)| Some((number(&key)?, text(&value))))
        .collect())
}

/// Keeps a reading in progress: whatever the page gives, under a name.
///
/// # Errors
/// What the storage says.
pub async fn keep_work(name: &str, work: &JsValue) -> Result<()> {
    within("could not hold the scan", &[WORK], CHANGE, async |open| {
        let put = |store: &web_sys::IdbObjectStore| store.put_with_key(work, &name.into());
        open.ask(WORK, put).await.map(drop)
    })
    .await
}

/// The reading in progress under a name, `undefined` if there is none.
///
/// # Errors
/// What the storage says.
pub async fn work(name: &str) -> Result<JsValue> {
    within("could not show the scan", &[WORK], LOOK, async |open| {
        open.ask(WORK, |store| store.get(&name.into())).await
    })
    .await
}

/// Names of all readings in progress.
///
/// # Errors
/// What the storage says.
pub async fn works() -> Result<JsValue> {
    within("could not show the scans", &[WORK], LOOK, async |open| {
        open.ask(WORK, |store| store.get_all_keys()).await
    })
    .await
}

/// Forgets one.
///
/// # Errors
/// What the storage says.
pub async fn drop_work(name: &str) -> Result<()> {
    within("could not forget the scan", &[WORK], CHANGE, async |open| {
        open.ask(WORK, |store| store.delete(&name.into()))
            .await
            .map(drop)
    })
    .await
}

/// One transaction, waited for until the browser reports it complete.
///
/// The database is opened for each, so that no window ever stands in the way of a newer version's migration.
async fn within<T>(
    doing: &'static str,
    places: &[&str],
    mode: &'static str,
    work: impl AsyncFnOnce(&Open) -> Result<T>,
) -> Result<T> {
    let database = open(doing).await?;
    let outcome = transact(&database, doing, places, mode, work).await;
    database.close();
    outcome
}

async fn transact<T>(
    database: &IdbDatabase,
    doing: &'static str,
    places: &[&str],
    mode: &'static str,
    work: impl AsyncFnOnce(&Open) -> Result<T>,
) -> Result<T> {
    let failed = |error: JsValue| told(doing, &error);
    let transaction = begin(database, places, mode).map_err(failed)?;
    let ended = Promise::new(&mut |resolve, reject| {
        transaction.set_oncomplete(Some(&resolve));
        transaction.set_onabort(Some(&reject));
    });
    let open = Open { transaction, doing };
    let outcome = work(&open).await;
    if outcome.is_err() {
        // One that the browser has ended already cannot be ended again; its own reason is told.
        let _ = open.transaction.abort();
    }
    match (JsFuture::from(ended).await, outcome) {
        (Ok(_), outcome) => outcome,
        (Err(_), Err(error)) => Err(error),
        (Err(_), Ok(_)) => {
            let error = open.transaction.error();
            Err(failed(error.map_or(JsValue::UNDEFINED, JsValue::from)))
        }
    }
}

/// `database.transaction(places, mode, { durability: "strict" })`: complete then means written to the disk, where the
/// browser can promise that. By reflection, because web-sys counts the third argument as unstable.
fn begin(
    database: &IdbDatabase,
    places: &[&str],
    mode: &str,
) -> std::result::Result<IdbTransaction, JsValue> {
    let places: Array = places
        .iter()
        .map(|place| JsValue::from_str(place))
        .collect();
    let options = Object::new();
    Reflect::set(&options, &"durability".into(), &"strict".into())?;
    let transaction: Function = Reflect::get(database, &"transaction".into())?.dyn_into()?;
    transaction
        .call3(database, &places, &mode.into(), &options)?
        .dyn_into()
}

/// How long one request to open may take, in milliseconds, and how many are made. Chromium, whose data are cleared just then, leaves one
/// without any answer, and sometimes the next one too (one in some forty clearings, in a loop of opening and writing).
const OPENS_WITHIN: i32 = 5_000;
const OPENINGS: usize = 3;

async fn open(doing: &'static str) -> Result<IdbDatabase> {
    for _ in 0..OPENINGS {
        if let Some(database) = open_once(doing).await? {
            return Ok(database);
        }
    }
    let reason = "it does not answer; close other windows of this page, or load the page again";
    Err(failed(doing, reason.to_owned()))
}

/// The database; nothing where no answer came in time.
async fn open_once(doing: &'static str) -> Result<Option<IdbDatabase>> {
    let request = ask_to_open().map_err(|error| told(doing, &error))?;
    let upgrade = Closure::once(migrate);
    request.set_onupgradeneeded(Some(upgrade.as_ref().unchecked_ref()));
    let opened = Promise::new(&mut |resolve, reject| {
        request.set_onsuccess(Some(&resolve));
        request.set_onerror(Some(&reject));
        request.set_onblocked(Some(&reject));
    });
    let late = Promise::new(&mut |resolve, reject| {
        let asked = js_sys::global()
            .dyn_into::<WorkerGlobalScope>()
            .map_err(JsValue::from)
            .and_then(|scope| {
                scope.set_timeout_with_callback_and_timeout_and_arguments_1(
                    &resolve,
                    OPENS_WITHIN,
                    &JsValue::FALSE,
                )
            });
        if let Err(error) = asked {
            // Takes what it is called with; that it was called cannot fail.
            let _ = reject.call1(&JsValue::UNDEFINED, &error);
        }
    });
    let outcome = JsFuture::from(Promise::race(&Array::of2(&opened, &late))).await;
    match (outcome, request.error()) {
        // It may have answered just after the time was up, too.
        (Ok(_), Ok(None)) => Ok(Some(result(doing, &request)?.unchecked_into())),
        (_, Ok(error)) => Err(failed(
            doing,
            error.map_or_else(unknown, |error| reason(&error)),
        )),
        // Still pending: it is the event for "blocked", or none. The migration goes on without us once nobody is in its way.
        (outcome, Err(_)) => {
            let close = Closure::once_into_js(|event: web_sys::Event| {
                let request: Option<IdbOpenDbRequest> =
                    event.target().and_then(|target| target.dyn_into().ok());
                if let Some(database) = request.and_then(|request| request.result().ok()) {
                    database.unchecked_into::<IdbDatabase>().close();
                }
            });
            request.set_onsuccess(Some(close.unchecked_ref()));
            // It may be called after this function has returned.
            upgrade.forget();
            if outcome.is_ok() {
                return Ok(None);
            }
            Err(failed(
                doing,
                "another window holds it with an older version of this program; close that window and try again"
                    .to_owned(),
            ))
        }
    }
}

fn ask_to_open() -> std::result::Result<IdbOpenDbRequest, JsValue> {
    let scope: WorkerGlobalScope = js_sys::global().dyn_into()?;
    let factory = scope.indexed_db()?.ok_or(JsValue::UNDEFINED)?;
    factory.open_with_u32(DATABASE, VERSION)
}

/// Brings the database's structure from the version it has to [`VERSION`], one step after the other. An exception
/// thrown here makes the browser undo the whole migration.
fn migrate(event: IdbVersionChangeEvent) -> std::result::Result<(), JsValue> {
    let request: IdbOpenDbRequest = event.target().ok_or(JsValue::UNDEFINED)?.unchecked_into();
    let database: IdbDatabase = request.result()?.unchecked_into();
    // Version 1: paints; 2: pictures; 3: what was changed, and readings in progress.
    let parts = [
        (1.0, "paints", true),
        (2.0, "pictures", true),
        (3.0, "changes", false),
        (3.0, "about", false),
        (3.0, WORK, false),
    ];
    for (version, part, numbered) in parts {
        if event.old_version() < version {
            let parameters = web_sys::IdbObjectStoreParameters::new();
            parameters.set_auto_increment(numbered);
            database.create_object_store_with_optional_parameters(part, &parameters)?;
        }
    }
    Ok(())
}

fn result(doing: &'static str, request: &IdbRequest) -> Result<JsValue> {
    request.result().map_err(|error| told(doing, &error))
}

fn number(key: &JsValue) -> Option<u32> {
    let number = key.as_f64()?;
    let whole = number as u32;
    (f64::from(whole) == number).then_some(whole)
}

/// A kept value. What is no text was not kept by this program: it is shown as what it is, and refused when it is read.
fn text(value: &JsValue) -> String {
    value.as_string().unwrap_or_else(|| format!("{value:?}"))
}

fn failed(doing: &'static str, reason: String) -> Error {
    Error::Outside {
        what: "The browser’s storage",
        doing,
        // A sentence: another follows it, or a button.
        reason: format!("{}.", reason.trim_end_matches('.')),
    }
}

/// What the storage said of something it was asked to do.
fn told(doing: &'static str, error: &JsValue) -> Error {
    let exception = error.dyn_ref::<DomException>();
    let no_room = |exception: &DomException| match exception.name().as_str() {
        "QuotaExceededError" => true,
        // Where the disk itself is full, Chromium only says that it gave up.
        "AbortError" => !exception.message().contains("closed"),
        _ => false,
    };
    if exception.is_some_and(no_room) {
        return Error::NoRoom { doing };
    }
    failed(doing, reason(error))
}

/// The exception's name (its message is often empty), with what to do where that is known.
fn reason(error: &JsValue) -> String {
    let Some(exception) = error.dyn_ref::<DomException>() else {
        return if error.is_undefined() {
            unknown()
        } else {
            format!("{error:?}")
        };
    };
    let name = exception.name();
    match name.as_str() {
        "VersionError" => {
            format!("it was written by a newer version of this program ({name}); use that version")
        }
        // Chromium calls it unknown where the painter, or a rule of the house, lets no page store anything.
        "UnknownError" if !exception.message().contains("denied") => {
            format!(
                "its files may be damaged ({name}); close all windows of this page and try again, and if that does not help, clear this page’s data in the browser and bring in your last copy"
            )
        }
        "AbortError" => format!(
            "the browser closed it ({name}), as it does when this page’s data are cleared; try again"
        ),
        "SecurityError" | "InvalidStateError" | "UnknownError" => {
            format!(
                "this window may not keep anything ({name}); leave private browsing, or allow this page to store data"
            )
        }
        _ => format!("{name} {}", exception.message())
            .trim_end()
            .to_owned(),
    }
}

fn unknown() -> String {
    "it did not say why; leave private browsing, or allow this page to store data".to_owned()
}
