//! Work: what is to be done again and again, who is there to do it, and what became of it.

pub mod alert;
mod change_check;
pub mod check;
mod follow_up;
pub mod handing;
pub mod moved;
pub mod plan;
pub mod review;
pub mod round;
pub mod staff;
pub mod template;

pub use alert::{Alert, AlertKind, AlertStanding, AlertState, AlreadyClosed, ClosedBy};
pub use change_check::change_check;
pub use check::{Cause, Check, CheckStanding, CheckState, Evidence, NotAllowed};
pub use follow_up::{follow_up_check, measure_again};
pub use handing::{CheckOffer, HandoverNote, NotAnOffer, NoteAbout, OfferStanding, OfferState, OwnNote};
pub use moved::{Cure, Move, MoveReason, Undone};
pub use plan::{CheckPlan, LONGEST_LIMIT_MIN, NotAPlan, NotDue, Place, Sharing, Task, TaskKind};
pub use review::Review;
pub use round::{Left, LeftReason, NotARound, Publication, Round, RoundStep};
pub use staff::{Absence, AbsenceReason, Break, Held, NotASpan, Qualification, Shift, Span, overlaps};
pub use template::{Template, TemplateKind};
