//! The command line of the server.

use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;

use chrono::{DateTime, Utc};
use clap::{Args, Parser, Subcommand};
use fillmark_actions::{Clock, people, work};
use fillmark_domain::people::Person;
use fillmark_server::{Settings, demo, document};

/// The operations server of a hydroponic business.
#[derive(Parser)]
#[command(name = "fillmark", version, about)]
struct Line {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Run the server.
    Serve(Common),
    /// Make an invented business with a year of history, show it, and serve it.
    Demo(DemoLine),
    /// Bring the database's schema up and stop.
    Migrate(Common),
    /// Print the OpenAPI document.
    Openapi,
    /// Do at the machine what nobody is signed in for yet.
    #[command(subcommand)]
    Admin(Admin),
}

#[derive(Subcommand)]
enum Admin {
    /// Make an owner of every site. The password is read from FILLMARK_PASSWORD or from standard input.
    Create {
        #[command(flatten)]
        common: Common,
        /// As colleagues call them.
        #[arg(long)]
        name: String,
        /// What they sign in with.
        #[arg(long)]
        sign_in: String,
    },
}

#[derive(Args)]
struct DemoLine {
    /// Remove the demo that is there and make it anew.
    #[arg(long)]
    fresh: bool,
    /// Print what there is to see and stop.
    #[arg(long)]
    once: bool,
    /// Where the demo lives.
    #[arg(long, default_value = "./fillmark-demo")]
    folder: PathBuf,
    /// Address and port to listen at.
    #[arg(long)]
    listen: Option<String>,
}

#[derive(Args)]
struct Common {
    /// A TOML file of settings.
    #[arg(long)]
    config: Option<PathBuf>,
    /// Where the records are: a folder, or postgres://…
    #[arg(long)]
    database: Option<String>,
    /// Address and port to listen at.
    #[arg(long)]
    listen: Option<String>,
}

type Failure = Box<dyn std::error::Error>;

#[actix_web::main]
async fn main() -> ExitCode {
    match run(Line::parse().command).await {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("fillmark: {error}");
            let mut source = error.source();
            while let Some(inner) = source {
                eprintln!("  because: {inner}");
                source = inner.source();
            }
            ExitCode::FAILURE
        }
    }
}

async fn run(command: Command) -> Result<(), Failure> {
    match command {
        Command::Serve(common) => serve(&common.settings()?).await,
        Command::Demo(line) => run_demo(line).await,
        Command::Migrate(common) => migrate(&common.settings()?).await,
        Command::Openapi => {
            println!("{}", document::document().to_pretty_json()?);
            Ok(())
        }
        Command::Admin(Admin::Create { common, name, sign_in }) => {
            create_owner(&common.settings()?, name, sign_in).await
        }
    }
}

impl Common {
    fn settings(&self) -> Result<Settings, Failure> {
        let mut settings = Settings::read(self.config.as_deref(), std::env::vars())?;
        settings.database = self.database.clone().unwrap_or(settings.database);
        settings.listen = self.listen.clone().unwrap_or(settings.listen);
        Ok(settings)
    }
}

async fn serve(settings: &Settings) -> Result<(), Failure> {
    log_to_standard_error(settings);
    let running = fillmark_server::start(settings, Arc::new(MachineClock)).await?;
    tracing::info!(address = running.address, "ready");
    println!("Fillmark listens at {0}\nInteractive documentation: {0}/docs/", running.address);
    wait_for_signal().await?;
    tracing::info!("stopping");
    tokio::select! {
        () = running.stop() => Ok(()),
        second = wait_for_signal() => second,
    }
}

async fn run_demo(line: DemoLine) -> Result<(), Failure> {
    let mut settings = demo::prepare(&line.folder, line.fresh, Arc::new(MachineClock)).await?;
    settings.listen = line.listen.unwrap_or(settings.listen);
    if line.once {
        let app = fillmark_server::open_app(&settings, Arc::new(MachineClock)).await?;
        work::beat(&app).await?;
        demo::show(&app, &format!("http://{}", settings.listen)).await?;
        app.store.close().await?;
        return Ok(());
    }
    let running = fillmark_server::start(&settings, Arc::new(MachineClock)).await?;
    work::beat(&running.app).await?;
    demo::show(&running.app, &running.address).await?;
    println!("Serving; Ctrl-C stops it.");
    wait_for_signal().await?;
    running.stop().await;
    Ok(())
}

async fn migrate(settings: &Settings) -> Result<(), Failure> {
    let app = fillmark_server::open_app(settings, Arc::new(MachineClock)).await?;
    app.store.close().await?;
    println!("the schema is up to date");
    Ok(())
}

async fn create_owner(settings: &Settings, name: String, sign_in: String) -> Result<(), Failure> {
    let password = match std::env::var("FILLMARK_PASSWORD") {
        Ok(password) => password,
        Err(_) => {
            eprintln!("Password (at least 15 characters), then Enter:");
            let mut line = String::new();
            std::io::stdin().read_line(&mut line)?;
            line.trim_end_matches(['\r', '\n']).to_owned()
        }
    };
    let app = fillmark_server::open_app(settings, Arc::new(MachineClock)).await?;
    let person = Person { name, sign_in: Some(sign_in.trim().to_lowercase()) };
    let kept = people::make_owner(&app, person, password).await?;
    app.store.close().await?;
    println!("{} can sign in as {}", kept.content.name, kept.content.sign_in.unwrap_or_default());
    Ok(())
}

async fn wait_for_signal() -> Result<(), Failure> {
    use tokio::signal::unix::{SignalKind, signal};
    let (mut terminate, mut interrupt) = (signal(SignalKind::terminate())?, signal(SignalKind::interrupt())?);
    tokio::select! {
        _ = terminate.recv() => {}
        _ = interrupt.recv() => {}
    }
    Ok(())
}

fn log_to_standard_error(settings: &Settings) {
    let filter = tracing_subscriber::EnvFilter::new(&settings.log);
    let lines = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    if settings.log_format == "json" { lines.json().init() } else { lines.init() }
}

/// The machine's own clock.
#[derive(Debug)]
struct MachineClock;

impl Clock for MachineClock {
    fn now(&self) -> DateTime<Utc> {
        Utc::now()
    }
}
