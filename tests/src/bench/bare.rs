//! A server of a few lines on the same foundations, for what these cost by themselves: a token that is checked as ours
//! is, one insert of a reading, and a hello. It checks nothing else and keeps no journal.

use actix_web::web::{Data, Json};
use actix_web::{App, HttpRequest, HttpResponse, HttpServer, get, post};
use chrono::{DateTime, Utc};
use jsonwebtoken::{Algorithm, DecodingKey, EncodingKey, Header, Validation};
use serde::{Deserialize, Serialize};
use sqlx::postgres::{PgPool, PgPoolOptions};
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteJournalMode, SqlitePool, SqlitePoolOptions, SqliteSynchronous,
};
use uuid::Uuid;

/// Known to whoever measures and to the server measured.
const SECRET: &[u8] = b"a secret of the bench, of the length of ours: 0123456789abcdef01";

const TABLE: &str =
    "create table if not exists entries (id uuid primary key, tank_id uuid not null, metric text not null,
    value double precision not null, recorded_at timestamptz not null, received_at timestamptz not null)";
const INDEX: &str = "create index if not exists entries_by_tank on entries (tank_id, recorded_at)";
const INSERT: &str = "insert into entries (id, tank_id, metric, value, recorded_at, received_at)
    values ($1, $2, $3, $4, $5, $6)";

/// What it takes in.
#[derive(Debug, Serialize, Deserialize)]
pub struct NewEntry {
    /// Of which tank.
    pub tank_id: Uuid,
    /// Of what.
    pub metric: String,
    /// How much.
    pub value: f64,
    /// When.
    pub recorded_at: DateTime<Utc>,
}

#[derive(Serialize, Deserialize)]
struct Claims {
    iss: String,
    aud: String,
    sub: Uuid,
    exp: i64,
}

#[derive(Debug, Clone)]
enum Pool {
    Sqlite(SqlitePool),
    Postgres(PgPool),
}

/// A token that it takes for an hour.
/// # Panics
/// When it cannot be signed.
pub fn token() -> String {
    let exp = Utc::now().timestamp() + 3600;
    let claims = Claims { iss: "bench".into(), aud: "bench-api".into(), sub: Uuid::new_v4(), exp };
    jsonwebtoken::encode(&Header::new(Algorithm::HS256), &claims, &EncodingKey::from_secret(SECRET))
        .expect("a token")
}

/// Serves on a file of SQLite or a database of PostgreSQL, until it is killed. SQLite has one writer and waits for the
/// disk, PostgreSQL eight connections, as ours.
/// # Errors
/// When the database or the address cannot be had.
pub async fn serve(database: &str, listen: &str) -> Result<(), Box<dyn std::error::Error>> {
    let pool = if database.starts_with("postgres://") {
        let pool =
            PgPoolOptions::new().max_connections(8).test_before_acquire(false).connect(database).await?;
        sqlx::query(TABLE).execute(&pool).await?;
        sqlx::query(INDEX).execute(&pool).await?;
        Pool::Postgres(pool)
    } else {
        let options = SqliteConnectOptions::new().filename(database).create_if_missing(true);
        let options = options.journal_mode(SqliteJournalMode::Wal).synchronous(SqliteSynchronous::Full);
        let pool = SqlitePoolOptions::new().max_connections(1).connect_with(options).await?;
        sqlx::query(TABLE).execute(&pool).await?;
        sqlx::query(INDEX).execute(&pool).await?;
        Pool::Sqlite(pool)
    };
    let pool = Data::new(pool);
    let server = HttpServer::new(move || App::new().app_data(pool.clone()).service(hello).service(enter));
    Ok(server.workers(2).bind(listen)?.run().await?)
}

#[get("/hello")]
async fn hello() -> HttpResponse {
    HttpResponse::Ok().body("hello")
}

#[post("/entries")]
async fn enter(request: HttpRequest, body: Json<NewEntry>, pool: Data<Pool>) -> HttpResponse {
    if !is_signed_in(&request) {
        return HttpResponse::Unauthorized().finish();
    }
    let (id, entry, now) = (Uuid::now_v7(), body.0, Utc::now());
    let kept = match &**pool {
        Pool::Sqlite(pool) => {
            let insert =
                sqlx::query(INSERT).bind(id).bind(entry.tank_id).bind(&entry.metric).bind(entry.value);
            insert.bind(entry.recorded_at).bind(now).execute(pool).await.map(drop)
        }
        Pool::Postgres(pool) => {
            let insert =
                sqlx::query(INSERT).bind(id).bind(entry.tank_id).bind(&entry.metric).bind(entry.value);
            insert.bind(entry.recorded_at).bind(now).execute(pool).await.map(drop)
        }
    };
    match kept {
        Ok(()) => HttpResponse::Created().json(serde_json::json!({ "id": id, "received_at": now })),
        Err(_) => HttpResponse::InternalServerError().finish(),
    }
}

fn is_signed_in(request: &HttpRequest) -> bool {
    let header = request.headers().get("authorization").and_then(|header| header.to_str().ok());
    let mut validation = Validation::new(Algorithm::HS256);
    validation.set_audience(&["bench-api"]);
    validation.set_issuer(&["bench"]);
    header.and_then(|header| header.strip_prefix("Bearer ")).is_some_and(|token| {
        jsonwebtoken::decode::<Claims>(token, &DecodingKey::from_secret(SECRET), &validation).is_ok()
    })
}
