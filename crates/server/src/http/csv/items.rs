//! A list's items as a table: one row an item, one column a field; what an item lists within becomes rows of its own.

use std::fmt;

use serde::de::{Deserializer, MapAccess, SeqAccess, Visitor};
use serde::{Deserialize, Serialize};

/// A page of items as CSV. Fields within fields are parted by a point.
pub fn of_items<T: Serialize>(items: &[T]) -> String {
    let nodes = items.iter().filter_map(|item| {
        let text = serde_json::to_string(item).ok()?;
        serde_json::from_str::<Node>(&text).ok()
    });
    let rows: Vec<Row> = nodes.flat_map(|node| rows(&node)).collect();
    let mut header: Vec<&str> = Vec::new();
    for (column, _) in rows.iter().flatten() {
        if !header.contains(&column.as_str()) {
            header.push(column);
        }
    }
    // Nothing has no columns; a record of none would be written as a pair of quotes.
    if header.is_empty() {
        return String::new();
    }
    let mut out = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    // Writing to memory never fails, so there is nothing to tell.
    let _ = out.write_record(&header);
    for row in &rows {
        let cell =
            |column: &&str| row.iter().find(|(of, _)| of == column).map_or("", |(_, text)| text.as_str());
        let _ = out.write_record(header.iter().map(cell));
    }
    String::from_utf8(out.into_inner().unwrap_or_default()).unwrap_or_default()
}

/// Columns with their cells, in the order of the fields.
type Row = Vec<(String, String)>;

fn rows(item: &Node) -> Vec<Row> {
    let (mut row, mut within) = (Vec::new(), Vec::new());
    flatten("", item, &mut row, &mut within);
    if within.is_empty() {
        return vec![row];
    }
    // Rows of a list within repeat what the item says of itself.
    within.into_iter().map(|inner| row.iter().cloned().chain(inner).collect()).collect()
}

fn flatten(name: &str, node: &Node, row: &mut Row, within: &mut Vec<Row>) {
    let below = |field: &str| if name.is_empty() { field.to_owned() } else { format!("{name}.{field}") };
    match node {
        Node::Cell(text) => row.push((name.to_owned(), text.clone())),
        Node::Fields(fields) => {
            for (field, value) in fields {
                flatten(&below(field), value, row, within);
            }
        }
        Node::List(nodes) if nodes.iter().all(|node| matches!(node, Node::Cell(_))) => {
            let cells = nodes
                .iter()
                .filter_map(|node| if let Node::Cell(text) = node { Some(text.as_str()) } else { None });
            row.push((name.to_owned(), cells.collect::<Vec<_>>().join(" ")));
        }
        Node::List(nodes) => {
            for node in nodes {
                let mut inner = Row::new();
                flatten(name, node, &mut inner, &mut Vec::new());
                within.push(inner);
            }
        }
    }
}

/// JSON with its fields in their order.
enum Node {
    Cell(String),
    List(Vec<Node>),
    Fields(Vec<(String, Node)>),
}

impl<'a> Deserialize<'a> for Node {
    fn deserialize<D: Deserializer<'a>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_any(Reader)
    }
}

struct Reader;

impl<'a> Visitor<'a> for Reader {
    type Value = Node;

    fn expecting(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("JSON")
    }

    fn visit_unit<E>(self) -> Result<Node, E> {
        Ok(Node::Cell(String::new()))
    }

    fn visit_bool<E>(self, value: bool) -> Result<Node, E> {
        Ok(Node::Cell(value.to_string()))
    }

    fn visit_i64<E>(self, value: i64) -> Result<Node, E> {
        Ok(Node::Cell(value.to_string()))
    }

    fn visit_u64<E>(self, value: u64) -> Result<Node, E> {
        Ok(Node::Cell(value.to_string()))
    }

    fn visit_f64<E>(self, value: f64) -> Result<Node, E> {
        // Nothing has no sign.
        Ok(Node::Cell((value + 0.0).to_string()))
    }

    fn visit_str<E>(self, value: &str) -> Result<Node, E> {
        Ok(Node::Cell(super::text(value)))
    }

    fn visit_seq<A: SeqAccess<'a>>(self, mut seq: A) -> Result<Node, A::Error> {
        let mut nodes = Vec::new();
        while let Some(node) = seq.next_element()? {
            nodes.push(node);
        }
        Ok(Node::List(nodes))
    }

    fn visit_map<A: MapAccess<'a>>(self, mut map: A) -> Result<Node, A::Error> {
        let mut fields = Vec::new();
        while let Some(field) = map.next_entry()? {
            fields.push(field);
        }
        Ok(Node::Fields(fields))
    }
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use super::*;

    #[track_caller]
    fn check(items: &[Value], lines: &[&str]) {
        assert_eq!(of_items(items), lines.iter().map(|line| format!("{line}\r\n")).collect::<String>());
    }

    #[test]
    fn an_item_is_a_row_and_a_field_a_column() {
        let amount = json!({ "unit": "mL", "value": 5.5 });
        check(
            &[json!({ "amount": amount, "id": "a", "late": true, "note": null, "on": ["mon", "tue"] })],
            &["amount.unit,amount.value,id,late,note,on", "mL,5.5,a,true,,mon tue"],
        );
    }

    #[test]
    fn a_list_within_is_rows_of_its_own() {
        let order = json!({ "id": "o", "lines": [{ "packs": 1 }, { "packs": 2 }] });
        let empty = json!({ "id": "p", "lines": [] });
        check(&[order, empty], &["id,lines.packs,lines", "o,1,", "o,2,", "p,,"]);
    }

    #[test]
    fn what_only_some_have_is_a_column_all_the_same() {
        check(&[json!({ "a": 1 }), json!({ "b": "=1+1" })], &["a,b", "1,", ",'=1+1"]);
        check(&[], &[]);
    }
}
