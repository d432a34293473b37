//! A backup made while people write comes back whole, a damaged one not at all, and a business moves to PostgreSQL with
//! all it has.

use std::fs;
use std::path::{Path, PathBuf};

use fillmark_client::Client;
use fillmark_tests::faults::Load;
use fillmark_tests::fresh::{Fresh, Kind};
use fillmark_tests::process::{Process, free_address, run};
use fillmark_tests::world::PASSWORD;
use fillmark_tests::yard::Yard;

async fn yard() -> Yard {
    Yard::make(Kind::Sqlite).await
}

#[track_caller]
fn backed_up(yard: &Yard) -> PathBuf {
    let told = run(&yard.fresh, &["backup", "--to", text(yard.fresh.folder.path())]).unwrap();
    PathBuf::from(told.lines().next().unwrap())
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

fn restored(from: &Path, to: &Fresh) -> Result<String, String> {
    run(to, &["restore", "--verify", "--from", text(from)])
}

/// Nothing of a database is in the folder.
#[track_caller]
fn is_untouched(fresh: &Fresh) {
    let names = fs::read_dir(fresh.folder.path()).unwrap().map(|entry| entry.unwrap().file_name());
    let names: Vec<_> = names.filter(|name| name != "in-use").collect();
    assert!(names.is_empty(), "{names:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_backup_made_while_people_write_comes_back_whole() {
    let yard = yard().await;
    let server = Process::serve(&yard.fresh, &free_address()).await;
    let before = Load::start(&[&server.address], yard.feeding, 4).await;
    before.more(40).await;
    let before = before.stop().await;
    let meanwhile = Load::start(&[&server.address], yard.feeding, 4).await;
    meanwhile.more(8).await;
    let copy = tokio::task::block_in_place(|| backed_up(&yard));
    meanwhile.more(8).await;
    let meanwhile = meanwhile.stop().await;
    server.stop().await;
    assert!(meanwhile.unexpected.is_empty(), "{:?}", meanwhile.unexpected);

    let elsewhere = Fresh::empty(Kind::Sqlite).await;
    let told = restored(&copy, &elsewhere).unwrap();
    assert!(told.contains("fit their chains"), "{told}");
    let count = before.count(&elsewhere, yard.received_ml).await;
    assert_eq!((count.lost, count.twice), (0, 0), "{count:?}");
    let server = Process::serve(&elsewhere, &free_address()).await;
    Client::new(&server.address).unwrap().sign_in("ada", PASSWORD).await.unwrap();
    server.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_damaged_backup_is_not_restored() {
    let yard = yard().await;
    let copy = backed_up(&yard);
    let elsewhere = Fresh::empty(Kind::Sqlite).await;
    let manifest = copy.join("manifest.json");
    let as_made = fs::read_to_string(&manifest).unwrap();
    let newest = fillmark_migrations::known().pop().unwrap();
    fs::write(&manifest, as_made.replace(&newest, "m9999_of_tomorrow")).unwrap();
    let refused = restored(&copy, &elsewhere).unwrap_err();
    assert!(refused.contains("newer version of Fillmark (it has m9999_of_tomorrow)"), "{refused}");
    is_untouched(&elsewhere);
    let other = as_made.replace("\"balances\": 1", "\"balances\": 2");
    assert_ne!(other, as_made);
    fs::write(&manifest, other).unwrap();
    let refused = restored(&copy, &elsewhere).unwrap_err();
    assert!(refused.contains("the sum of balances is not what its manifest says"), "{refused}");
    is_untouched(&elsewhere);

    fs::write(&manifest, as_made).unwrap();
    let file = copy.join("fillmark.sqlite");
    let mut bytes = fs::read(&file).unwrap();
    let last = bytes.len() - 1;
    bytes[last] ^= 1;
    fs::write(&file, &bytes).unwrap();
    let refused = restored(&copy, &elsewhere).unwrap_err();
    assert!(refused.contains("the file is not what its manifest says"), "{refused}");
    is_untouched(&elsewhere);
    bytes[last] ^= 1;
    fs::write(&file, &bytes).unwrap();
    restored(&copy, &elsewhere).unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn nothing_is_written_over() {
    let yard = yard().await;
    let copy = backed_up(&yard);
    let refused = restored(&copy, &yard.fresh).unwrap_err();
    assert!(refused.contains("is there already"), "{refused}");
    let nowhere = Fresh::empty(Kind::Sqlite).await;
    let refused = run(&nowhere, &["backup", "--to", text(nowhere.folder.path())]).unwrap_err();
    assert!(refused.contains("there is no database"), "{refused}");
    is_untouched(&nowhere);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_business_moves_to_postgres_with_all_it_has() {
    let yard = yard().await;
    let there = Fresh::empty(Kind::Postgres).await;
    let to = there.settings.database.clone();
    let server = Process::serve(&yard.fresh, &free_address()).await;
    let load = Load::start(&[&server.address], yard.feeding, 4).await;
    load.more(20).await;
    let refused = tokio::task::block_in_place(|| run(&yard.fresh, &["move", "--to", &to])).unwrap_err();
    assert!(refused.contains("is in use by another Fillmark"), "{refused}");
    let written = load.stop().await;
    server.stop().await;

    let told = run(&yard.fresh, &["move", "--to", &to]).unwrap();
    assert!(told.contains("are equal on both sides"), "{told}");
    let count = written.count(&there, yard.received_ml).await;
    assert_eq!((count.lost, count.twice, count.balance_off), (0, 0, 0), "{count:?}");
    let refused = run(&yard.fresh, &["move", "--to", &to]).unwrap_err();
    assert!(refused.contains("is not empty"), "{refused}");
    run(&there, &["verify"]).unwrap();
    let server = Process::serve(&there, &free_address()).await;
    let ada = Client::new(&server.address).unwrap();
    ada.sign_in("ada", PASSWORD).await.unwrap();
    assert_eq!(ada.tank_changes(yard.feeding.here.site, "").await.unwrap().len(), 0);
    server.stop().await;
}
