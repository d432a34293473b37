//! The walk of the README, from the first sign-in to the first report, as its reader runs it: `bash`, `curl`, `jq`.

use std::process::Command;

use chrono::Utc;
use fillmark_tests::fresh::Kind;
use fillmark_tests::on_both;
use fillmark_tests::world::World;

const README: &str = include_str!("../../README.md");
const ITS_ADDRESS: &str = "http://127.0.0.1:8420";

/// A world at the machine's own time, since the commands of the walk ask `date`.
struct Now(World);

impl Now {
    async fn begin(kind: Kind) -> Now {
        Now(World::begin_at(kind, Utc::now()).await)
    }
}

/// All commands between the marks, at the address of a server.
fn walk(address: &str) -> String {
    let (_, after) = README.split_once("<!-- begin -->").unwrap();
    let (walk, _) = after.split_once("<!-- end -->").unwrap();
    assert!(walk.contains(ITS_ADDRESS));
    let blocks = walk.split("```sh\n").skip(1).filter_map(|block| block.split("```").next());
    blocks.collect::<String>().replace(ITS_ADDRESS, address)
}

/// What `curl` answers, as a browser would read it.
async fn fetched(address: String) -> String {
    let run = move || Command::new("curl").args(["-sf", "--compressed", &address]).output().unwrap();
    let output = tokio::task::spawn_blocking(run).await.unwrap();
    assert!(output.status.success(), "{output:?}");
    String::from_utf8_lossy(&output.stdout).into_owned()
}

on_both! {
    async fn the_interactive_documentation_comes_whole_from_the_binary(world: Now) {
        let docs = format!("{}/docs/", world.0.server.address);
        let page = fetched(docs.clone()).await;
        assert!(!page.contains("//"), "the page asks elsewhere:\n{page}");
        for (file, word) in [("swagger-ui-bundle.js", "SwaggerUIBundle"), ("swagger-ui.css", ".swagger-ui")] {
            assert!(page.contains(file) && fetched(format!("{docs}{file}")).await.contains(word), "{file}");
        }
        assert!(fetched(format!("{docs}swagger-initializer.js")).await.contains("/api/v1/openapi.json"));
    }

    async fn the_commands_of_the_readme_do_what_it_says(world: Now) {
        let script = walk(&world.0.server.address);
        let run = move || Command::new("bash").args(["-euo", "pipefail", "-c", &script]).output().unwrap();
        let output = tokio::task::spawn_blocking(run).await.unwrap();
        let (said, failed) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
        assert!(output.status.success(), "{said}\n{failed}");
        for word in ["\"name\": \"Grow A\"", "\"in_band\"", "\"order_by_on\""] {
            assert!(said.contains(word), "{word} is missing in\n{said}");
        }
    }
}
