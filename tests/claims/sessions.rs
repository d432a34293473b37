//! Signing in, staying signed in, and what ends it.

use std::time::{Duration, Instant};

use chrono::TimeDelta;
use fillmark_api::{NewPerson, NewRoom, NewSession, ProblemCode, Renewal, Session};
use fillmark_client::Client;
use fillmark_domain::people::Role;
use fillmark_store::spent_tokens;
use fillmark_tests::fresh::Kind;
use fillmark_tests::on_both;
use fillmark_tests::process::{Process, free_address};
use fillmark_tests::world::{PASSWORD, World, refusal};
use fillmark_tests::yard::Yard;

async fn session(client: &Client) -> Session {
    let body = NewSession { sign_in: "ada".into(), password: PASSWORD.into(), device: None };
    client.post("/sessions", &body).await.unwrap()
}

async fn renew(client: &Client, token: &str) -> Result<Session, fillmark_client::ClientError> {
    client.post("/sessions/renewals", &Renewal { refresh_token: token.into() }).await
}

on_both! {
    async fn a_wrong_password_and_an_unknown_name_are_answered_alike(world: World) {
        let stranger = Client::new(&world.server.address).unwrap();
        let wrong = stranger.sign_in("ada", "not her password").await.err().unwrap();
        let unknown = stranger.sign_in("nobody", "not her password").await.err().unwrap();
        let (wrong, unknown) = (wrong.problem().unwrap().clone(), unknown.problem().unwrap().clone());
        assert_eq!((wrong.code, wrong.detail), (unknown.code, unknown.detail));
    }

    async fn a_session_outlives_its_access_token(world: World) {
        let site = world.site("Harbour").await;
        world.clock.advance(TimeDelta::minutes(30));
        world.ada.site(site.id).page::<NewRoom>("").await.unwrap();
    }

    async fn a_spent_refresh_token_ends_the_session(world: World) {
        let stranger = Client::new(&world.server.address).unwrap();
        let first = session(&stranger).await;
        let second = renew(&stranger, &first.refresh_token).await.unwrap();
        world.clock.advance(TimeDelta::minutes(1));
        assert_eq!(refusal(renew(&stranger, &first.refresh_token).await.map(|_| ())), ProblemCode::NotSignedIn);
        assert_eq!(refusal(renew(&stranger, &second.refresh_token).await.map(|_| ())), ProblemCode::NotSignedIn);
    }

    async fn a_token_that_was_spent_long_ago_ends_the_session_too(world: World) {
        let first = session(&world.ada).await;
        let mut held = first.refresh_token.clone();
        for _ in 0..3 {
            held = renew(&world.ada, &held).await.unwrap().refresh_token;
            world.clock.advance(TimeDelta::minutes(10));
        }
        assert_eq!(refusal(renew(&world.ada, &first.refresh_token).await.map(drop)), ProblemCode::NotSignedIn);
        assert_eq!(refusal(renew(&world.ada, &held).await.map(drop)), ProblemCode::NotSignedIn, "whoever holds the last one is out too");
    }

    async fn spent_tokens_are_forgotten_once_no_session_of_theirs_is_left(world: World) {
        let first = session(&world.ada).await;
        renew(&world.ada, &first.refresh_token).await.unwrap();
        let any = async || {
            let tx = world.server.app.store.look().await.unwrap();
            spent_tokens::any_before(&tx, world.server.app.now() + TimeDelta::seconds(1)).await.unwrap()
        };
        world.clock.advance(TimeDelta::days(59));
        world.beat().await;
        assert!(any().await);
        world.clock.advance(TimeDelta::days(2));
        world.beat().await;
        assert!(!any().await);
    }

    async fn an_answer_lost_on_the_way_may_be_asked_for_again(world: World) {
        let stranger = Client::new(&world.server.address).unwrap();
        let first = session(&stranger).await;
        let lost = renew(&stranger, &first.refresh_token).await.unwrap();
        world.clock.advance(TimeDelta::seconds(5));
        let again = renew(&stranger, &first.refresh_token).await.unwrap();
        assert_eq!(lost.refresh_token, again.refresh_token);
        world.clock.advance(TimeDelta::minutes(5));
        renew(&stranger, &again.refresh_token).await.unwrap();
    }

    async fn two_who_renew_at_once_both_stay_signed_in(world: World) {
        let stranger = Client::new(&world.server.address).unwrap();
        let first = session(&stranger).await;
        let (one, other) = tokio::join!(renew(&stranger, &first.refresh_token), renew(&stranger, &first.refresh_token));
        let (one, other) = (one.unwrap().refresh_token, other.unwrap().refresh_token);
        assert_eq!(one, other);
        world.clock.advance(TimeDelta::minutes(5));
        renew(&stranger, &one).await.unwrap();
    }

    async fn a_role_that_has_ended_opens_nothing(world: World) {
        let site = world.site("Harbour").await;
        let (sam, client) = world.person("Sam", Role::Staff, Some(site.id)).await;
        let business = world.ada.business();
        let query = format!("person_id={}", sam.id);
        let membership = business.all::<fillmark_api::NewMembership>(&query).await.unwrap().remove(0);
        client.site(site.id).page::<NewRoom>("").await.unwrap();
        let until = fillmark_api::Instant(world.server.app.now() + TimeDelta::hours(1)).text();
        business.change(&membership, serde_json::json!({ "until_at": until })).await.unwrap();
        world.clock.advance(TimeDelta::hours(2));
        assert_eq!(refusal(client.site(site.id).page::<NewRoom>("").await), ProblemCode::NotFound);
    }

    async fn five_failures_make_an_account_wait_and_never_lock_it(world: World) {
        let stranger = Client::new(&world.server.address).unwrap();
        for _ in 0..5 {
            assert_eq!(refusal(stranger.sign_in("ada", "not her password").await.map(drop)), ProblemCode::NotSignedIn);
        }
        let waiting = stranger.sign_in("ada", PASSWORD).await;
        assert_eq!(refusal(waiting.map(drop)), ProblemCode::Throttled);
        world.clock.advance(TimeDelta::seconds(1));
        assert_eq!(refusal(stranger.sign_in("ada", "not her password").await.map(drop)), ProblemCode::NotSignedIn);
        assert_eq!(refusal(stranger.sign_in("ada", PASSWORD).await.map(drop)), ProblemCode::Throttled);
        world.clock.advance(TimeDelta::seconds(2));
        stranger.sign_in("ada", PASSWORD).await.unwrap();
        assert_eq!(refusal(stranger.sign_in("ada", "not her password").await.map(drop)), ProblemCode::NotSignedIn);
        stranger.sign_in("ada", PASSWORD).await.unwrap();
    }

    async fn a_name_that_nobody_has_waits_alike(world: World) {
        let stranger = Client::new(&world.server.address).unwrap();
        for _ in 0..5 {
            assert_eq!(refusal(stranger.sign_in("nobody", PASSWORD).await.map(drop)), ProblemCode::NotSignedIn);
        }
        let (known, unknown) = (stranger.sign_in("ada", PASSWORD).await, stranger.sign_in("nobody", PASSWORD).await);
        assert!(known.is_ok());
        assert_eq!(refusal(unknown.map(drop)), ProblemCode::Throttled);
    }

    async fn thirty_failures_of_an_address_are_its_last_for_five_minutes(world: World) {
        let stranger = Client::new(&world.server.address).unwrap();
        for guess in 0..30 {
            let name = format!("nobody {guess}");
            assert_eq!(refusal(stranger.sign_in(&name, PASSWORD).await.map(drop)), ProblemCode::NotSignedIn, "{guess}");
        }
        assert_eq!(refusal(stranger.sign_in("ada", PASSWORD).await.map(drop)), ProblemCode::Throttled);
        world.clock.advance(TimeDelta::minutes(5));
        stranger.sign_in("ada", PASSWORD).await.unwrap();
    }

    async fn of_a_hundred_guesses_at_once_few_are_looked_at(world: World) {
        let guess = async || Client::new(&world.server.address).unwrap().sign_in("ada", "not her password").await;
        let guesses = futures_util::future::join_all((0..20).map(|_| guess())).await;
        let looked_at = guesses.into_iter().map(|guess| refusal(guess.map(drop))).filter(|code| *code == ProblemCode::NotSignedIn).count();
        // Two are hashed at a time, so one may be under way while the fifth fails.
        assert!((5..=6).contains(&looked_at), "{looked_at}");
    }

    async fn sessions_are_listed_and_ended(world: World) {
        let site = world.site("Harbour").await;
        let (sam, phone) = world.person("Sam", Role::Staff, Some(site.id)).await;
        let tablet = Client::new(&world.server.address).unwrap();
        world.clock.advance(TimeDelta::seconds(1));
        tablet.sign_in("sam", PASSWORD).await.unwrap();
        let open = tablet.sessions(sam.id).await.unwrap();
        assert_eq!(open.iter().map(|session| session.is_this_one).collect::<Vec<_>>(), [true, false]);
        tablet.end_session(sam.id, open[1].id).await.unwrap();
        assert_eq!(refusal(phone.sessions(sam.id).await), ProblemCode::NotSignedIn);
        assert_eq!(refusal(tablet.end_session(sam.id, open[1].id).await), ProblemCode::NotFound);
        world.ada.end_sessions(sam.id).await.unwrap();
        assert_eq!(refusal(tablet.sessions(sam.id).await), ProblemCode::NotSignedIn);
    }

    async fn nobody_looks_after_the_sessions_of_somebody_above(world: World) {
        let site = world.site("Harbour").await;
        let ada = world.ada.business().all::<NewPerson>("").await.unwrap().remove(0);
        let (sam, staff) = world.person("Sam", Role::Staff, Some(site.id)).await;
        let (_, manager) = world.person("Mia", Role::Manager, Some(site.id)).await;
        assert_eq!(refusal(manager.sessions(ada.id).await), ProblemCode::NotAllowed);
        assert_eq!(refusal(manager.end_sessions(ada.id).await), ProblemCode::NotAllowed);
        assert_eq!(manager.sessions(sam.id).await.unwrap().len(), 1);
        assert_eq!(refusal(staff.sessions(ada.id).await), ProblemCode::NotAllowed);
        let [of_ada] = &world.ada.sessions(ada.id).await.unwrap()[..] else { panic!("one session") };
        assert_eq!(refusal(manager.end_session(sam.id, of_ada.id).await), ProblemCode::NotFound);
    }

    async fn a_person_has_fifty_sessions_at_most(world: World) {
        let ada = world.ada.business().all::<NewPerson>("").await.unwrap().remove(0);
        let last = Client::new(&world.server.address).unwrap();
        for _ in 0..50 {
            world.clock.advance(TimeDelta::seconds(1));
            last.sign_in("ada", PASSWORD).await.unwrap();
        }
        assert_eq!(last.sessions(ada.id).await.unwrap().len(), 50);
        assert_eq!(refusal(world.ada.sessions(ada.id).await), ProblemCode::NotSignedIn);
    }

    async fn a_key_signs_for_ninety_days_and_tokens_outlive_its_end(world: World) {
        let site = world.site("Harbour").await;
        let (_, sam) = world.person("Sam", Role::Staff, Some(site.id)).await;
        let kid = |token: String| jsonwebtoken::decode_header(token).unwrap().kid.unwrap();
        let first = kid(world.ada.access_token().await.unwrap());
        world.clock.advance(TimeDelta::days(90) - TimeDelta::minutes(1));
        world.ada.sign_in("ada", PASSWORD).await.unwrap();
        // The server looks for a new key once an hour: this token is the old one's last.
        world.clock.advance(TimeDelta::minutes(59));
        sam.sign_in("sam", PASSWORD).await.unwrap();
        let last = sam.access_token().await.unwrap();
        world.clock.advance(TimeDelta::minutes(1));
        world.ada.sign_in("ada", PASSWORD).await.unwrap();
        let second = kid(world.ada.access_token().await.unwrap());
        assert_ne!(first, second);
        sam.site(site.id).page::<NewRoom>("").await.unwrap();
        assert_eq!(sam.access_token().await.unwrap(), last, "it was not renewed");
        assert_eq!(kid(last), first);
        let world = world.restart().await;
        assert_eq!(kid(world.ada.access_token().await.unwrap()), second);
    }

    async fn signing_out_ends_it(world: World) {
        world.ada.sign_out().await.unwrap();
        assert_eq!(refusal(world.ada.business().page::<fillmark_api::NewSite>("").await), ProblemCode::NotSignedIn);
    }
}

/// Resident memory of a process, MiB.
fn resident(process: &Process) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{}/status", process.pid())).unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap();
    line.trim().trim_end_matches(" kB").parse::<u64>().unwrap() / 1024
}

/// For so long memory may be kept that somebody may want again.
const PATIENCE: Duration = Duration::from_secs(40);

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn signing_in_leaves_no_memory_taken() {
    let yard = Yard::make(Kind::Sqlite).await;
    let server = Process::serve(&yard.fresh, &free_address()).await;
    let sign_in = async || {
        Client::new(&server.address).unwrap().sign_in("ada", PASSWORD).await.unwrap();
    };
    let before = resident(&server);
    for _ in 0..5 {
        futures_util::future::join_all((0..6).map(|_| sign_in())).await;
    }
    // Thirty hashes took 1,400 MiB in all, two at a time. What is not needed goes back to the system after some ten seconds;
    // some of the rest is what requests allocate the first time.
    let began = Instant::now();
    while resident(&server) >= before + 40 {
        assert!(began.elapsed() < PATIENCE, "{before} MiB became {} MiB", resident(&server));
        tokio::time::sleep(Duration::from_millis(500)).await;
    }
    server.stop().await;
}
