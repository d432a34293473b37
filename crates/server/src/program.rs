//! The command line of the server.

use std::io::{IsTerminal, Write};
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

use chrono::{DateTime, Utc};
use clap::Parser;
use fillmark_actions::{Clock, people, work};
use fillmark_domain::people::Person;

use crate::commands::calc::NotCalculated;
use crate::commands::{self, Desk};
use crate::line::{Admin, At, Calc, Command, Config, DemoLine, Line, unit_question};
use crate::{Running, Settings, demo, document, startup};

type Failure = Box<dyn std::error::Error>;

/// Does what the command line says. It stands here and not in the program, which would compile all that is awaited once more.
pub fn run() -> ExitCode {
    actix_web::rt::System::new().block_on(run_to_end(Line::parse().command))
}

async fn run_to_end(command: Command) -> ExitCode {
    match obey(command).await {
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

async fn obey(command: Command) -> Result<(), Failure> {
    match command {
        Command::Serve(common) => serve(&common.settings()?).await,
        Command::Demo(line) => run_demo(line).await,
        Command::Migrate(common) => migrate(&common.settings()?).await,
        Command::Verify { common, against } => verify(&common.settings()?, against.as_deref()).await,
        Command::Backup { common, to } => {
            told(commands::backup(&common.settings()?.where_kept(), &to, MachineClock.now()).await?)
        }
        Command::Restore { common, from, verify } => {
            told(commands::restore(&from, &common.settings()?.where_kept(), verify).await?)
        }
        Command::Move { common, to } => {
            let to = Settings { database: to, ..Settings::default() };
            told(commands::carry(&common.settings()?.where_kept(), &to.where_kept()).await?)
        }
        Command::Calc(calc) => told(calculate(calc)?),
        Command::Openapi => told(format!("{}\n", document::document().to_pretty_json()?)),
        Command::Admin(Admin::Create { common, name, sign_in }) => {
            create_owner(&common.settings()?, name, sign_in).await
        }
        Command::Healthcheck { address } => told(commands::healthcheck(&address).await?),
        Command::Config(Config::Check(common)) => {
            let environment: Vec<_> = std::env::vars().collect();
            told(commands::config::check(common.config.as_deref(), &environment, &common.flags())?)
        }
        Command::Rounds { at, date, day } => {
            told(commands::rounds(&desk(&at).await?, at.site(), date.or(day)).await?)
        }
        Command::Forecast { at, days, product: None } => {
            told(commands::forecast(&desk(&at).await?, at.site(), days).await?)
        }
        Command::Forecast { at, days, product: Some(product) } => {
            told(commands::causes(&desk(&at).await?, at.site(), &product, days).await?)
        }
    }
}

fn calculate(calc: Calc) -> Result<String, NotCalculated> {
    match calc {
        Calc::Solution(line) => commands::calc::solution(&line.into()),
        Calc::Acid(line) => commands::calc::acid(&line.into()),
        Calc::Unit { value, from, to } => commands::calc::unit(&unit_question(value, from, to)),
        Calc::Air(line) => commands::calc::air(&line.into()),
        Calc::Meter(line) => commands::calc::meter(&line.into()),
    }
}

/// Whoever reads only the first lines of it has seen enough.
fn told(text: String) -> Result<(), Failure> {
    match std::io::stdout().write_all(text.as_bytes()) {
        Err(error) if error.kind() != std::io::ErrorKind::BrokenPipe => Err(error.into()),
        _ => Ok(()),
    }
}

async fn desk(at: &At) -> Result<Desk, Failure> {
    Ok(Desk::sign_in(&at.address, &at.sign_in, &password("Password, then Enter:")?).await?)
}

async fn serve(settings: &Settings) -> Result<(), Failure> {
    log_to_standard_error(settings);
    let running = startup::start(settings, Arc::new(MachineClock)).await?;
    tracing::info!(address = running.address, "ready");
    println!("Fillmark listens at {0}\nInteractive documentation: {0}/docs/", running.address);
    offer_first_owner(&running);
    wait_for_signal().await?;
    tracing::info!("stopping");
    tokio::select! {
        () = running.stop() => Ok(()),
        second = wait_for_signal() => second,
    }
}

/// Printed, never logged: whoever reads it owns the business.
fn offer_first_owner(running: &Running) {
    let Some(code) = &running.first_owner_code else { return };
    let address = &running.address;
    println!(
        "\nNobody can sign in yet. Become the first owner with this code, which is good once and until the server \
         stops:\n\n    {code}\n\nin the browser at {address}/docs/#/people/claim_business, or by\n\n    \
         curl {address}/api/v1/first-owner --json '{{\"code\": \"{code}\", \"name\": \"Ada Brook\", \
         \"sign_in\": \"ada\", \"password\": \"at least 15 characters\"}}'\n"
    );
}

async fn run_demo(line: DemoLine) -> Result<(), Failure> {
    let mut settings = demo::prepare(&line.folder, line.fresh, Arc::new(MachineClock)).await?;
    let surroundings = Settings::read(None, std::env::vars())?;
    settings.listen = line.listen.unwrap_or(surroundings.listen);
    if line.once {
        let app = startup::open_app(&settings, Arc::new(MachineClock)).await?;
        work::beat(&app).await?;
        demo::show(&app, &format!("http://{}", settings.listen)).await?;
        app.store.close().await?;
        return Ok(());
    }
    let running = startup::start(&settings, Arc::new(MachineClock)).await?;
    work::beat(&running.app).await?;
    demo::show(&running.app, &running.address).await?;
    println!("Serving; Ctrl-C stops it.");
    wait_for_signal().await?;
    running.stop().await;
    Ok(())
}

async fn migrate(settings: &Settings) -> Result<(), Failure> {
    let app = startup::open_app(settings, Arc::new(MachineClock)).await?;
    app.store.close().await?;
    println!("the schema is up to date");
    Ok(())
}

async fn verify(settings: &Settings, against: Option<&Path>) -> Result<(), Failure> {
    commands::refuse_absent(&settings.where_kept())?;
    let app = startup::open_app(settings, Arc::new(MachineClock)).await?;
    let told = match against {
        Some(manifest) => commands::verify_against(&app, manifest).await,
        None => commands::verify(&app).await,
    };
    app.store.close().await?;
    self::told(told?)
}

async fn create_owner(settings: &Settings, name: String, sign_in: String) -> Result<(), Failure> {
    let password = password("Password (at least 15 characters), then Enter:")?;
    let app = startup::open_app(settings, Arc::new(MachineClock)).await?;
    let person = Person { name, sign_in: Some(sign_in.trim().to_lowercase()) };
    let kept = people::make_owner(&app, person, password).await?;
    app.store.close().await?;
    println!("{} can sign in as {}", kept.content.name, kept.content.sign_in.unwrap_or_default());
    Ok(())
}

fn password(prompt: &str) -> Result<String, Failure> {
    if let Ok(password) = std::env::var("FILLMARK_PASSWORD") {
        return Ok(password);
    }
    eprintln!("{prompt}");
    let mut line = String::new();
    std::io::stdin().read_line(&mut line)?;
    Ok(line.trim_end_matches(['\r', '\n']).to_owned())
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
    let coloured = std::io::stderr().is_terminal();
    let lines = tracing_subscriber::fmt().with_env_filter(filter).with_ansi(coloured);
    // Where the log cannot be written, on a full disk for one, the work goes on without it.
    let lines = lines.with_writer(std::io::stderr).log_internal_errors(false);
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
