//! How what moved, what is left and what would help stand in the columns of a publication.

use std::collections::HashMap;

use fillmark_domain::entries::MeterKind;
use fillmark_domain::work::{Cure, LeftReason, Move, Undone};
use fillmark_domain::{Coded, Id};
use sea_orm::JsonValue;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::BrokenRow;
use crate::columns::{self, Reading, code};

/// What is left, with the reasons.
pub(super) fn left_column(left: &[Undone]) -> JsonValue {
    let reasons = |one: &Undone| one.reasons.iter().map(|reason| code(*reason)).collect::<Vec<_>>();
    columns::list(left.iter().map(|one| (one.check.uuid(), reasons(one))))
}

/// What would help what is left.
pub(super) fn cures_column(left: &[Undone]) -> JsonValue {
    let cures = |one: &Undone| one.cures.iter().map(|cure| CureColumn::write(*cure)).collect::<Vec<_>>();
    columns::list(left.iter().map(|one| (one.check.uuid(), cures(one))))
}

/// Which check went from whom to whom, and why.
pub(super) fn moves_column(moves: &[Move]) -> JsonValue {
    let ids = |people: &[Id<_>]| people.iter().map(|person| person.uuid()).collect::<Vec<Uuid>>();
    columns::list(moves.iter().map(|one| (one.check.uuid(), ids(&one.from), ids(&one.to), one.why.code())))
}

/// What these columns say is left.
pub(super) fn undone(read: Reading, left: JsonValue, cures: JsonValue) -> Result<Vec<Undone>, BrokenRow> {
    let left: Vec<(Uuid, Vec<String>)> = read.list(left)?;
    let cures: Vec<(Uuid, Vec<CureColumn>)> = read.list(cures)?;
    // Publications of before cures were kept have none.
    let mut cures: HashMap<Uuid, Vec<CureColumn>> = cures.into_iter().collect();
    let undone = left.into_iter().map(|(check, reasons)| {
        let reasons: Vec<LeftReason> =
            reasons.iter().map(|reason| read.code(reason)).collect::<Result<_, _>>()?;
        let cures = cures.remove(&check).unwrap_or_default();
        let cures = cures.into_iter().map(|cure| cure.read(read)).collect::<Result<_, _>>()?;
        Ok(Undone { check: Id::new(check), reasons, cures })
    });
    undone.collect()
}

/// What this column says has moved.
pub(super) fn moves(read: Reading, moves: JsonValue) -> Result<Vec<Move>, BrokenRow> {
    let moves: Vec<(Uuid, Vec<Uuid>, Vec<Uuid>, String)> = read.list(moves)?;
    let people = |ids: Vec<Uuid>| ids.into_iter().map(Id::new).collect();
    let moves = moves.into_iter().map(|(check, from, to, why)| {
        Ok(Move { check: Id::new(check), from: people(from), to: people(to), why: read.code(&why)? })
    });
    moves.collect()
}

#[derive(Serialize, Deserialize, Default)]
struct CureColumn {
    cure: String,
    person: Option<Uuid>,
    minutes: Option<i64>,
    meter: Option<String>,
    qualification: Option<Uuid>,
}

impl CureColumn {
    fn write(cure: Cure) -> CureColumn {
        let column = CureColumn { cure: cure.code().to_owned(), ..CureColumn::default() };
        match cure {
            Cure::WaitUntilTomorrow => column,
            Cure::Stay { person, minutes } => {
                CureColumn { person: Some(person.uuid()), minutes: Some(minutes), ..column }
            }
            Cure::AnotherMeter { kind } => CureColumn { meter: Some(code(kind)), ..column },
            Cure::Qualify { person, qualification } => CureColumn {
                person: Some(person.uuid()),
                qualification: Some(qualification.uuid()),
                ..column
            },
            Cure::AnotherPerson { minutes } => CureColumn { minutes: Some(minutes), ..column },
        }
    }

    fn read(self, read: Reading) -> Result<Cure, BrokenRow> {
        let kind = self.meter.as_deref().map(|kind| read.code::<MeterKind>(kind)).transpose()?;
        let (person, qualification) = (self.person.map(Id::new), self.qualification.map(Id::new));
        let cure = match (self.cure.as_str(), person, self.minutes, kind, qualification) {
            ("wait_until_tomorrow", ..) => Cure::WaitUntilTomorrow,
            ("stay", Some(person), Some(minutes), ..) => Cure::Stay { person, minutes },
            ("another_meter", _, _, Some(kind), _) => Cure::AnotherMeter { kind },
            ("qualify", Some(person), _, _, Some(qualification)) => Cure::Qualify { person, qualification },
            ("another_person", _, Some(minutes), ..) => Cure::AnotherPerson { minutes },
            _ => return Err(read.broken(format!("{} is no cure with its facts", self.cure))),
        };
        Ok(cure)
    }
}
