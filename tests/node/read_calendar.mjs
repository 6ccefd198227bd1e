// Reads a calendar from standard input with ical.js and tells, as JSON, what it understood of it.

import { readFileSync } from "node:fs";
import ICAL from "ical.js";

ICAL.design.strict = true;

// An instant as UTC; a whole day as its date; a time that names no zone as it stands, without a Z.
const when = (time) =>
  time.isDate ? time.toString()
    : time.zone === ICAL.Timezone.localTimezone ? time.toString()
      : time.toJSDate().toISOString();

const text = (component, name) => component.getFirstPropertyValue(name);

const occurrences = (event) => {
  const found = [];
  const iterator = event.iterator();
  for (let next = iterator.next(); next && found.length < 100; next = iterator.next()) {
    const { startDate, endDate } = event.getOccurrenceDetails(next);
    found.push([when(startDate), when(endDate)]);
  }
  return found;
};

const told = (component) => {
  const event = new ICAL.Event(component);
  return {
    uid: event.uid,
    summary: event.summary,
    description: event.description,
    location: event.location,
    sequence: event.sequence,
    whole_day: event.startDate.isDate,
    occurrences: occurrences(event),
    categories: component.getFirstProperty("categories")?.getValues() ?? [],
    color: event.color,
    alarms: component.getAllSubcomponents("valarm").map((alarm) => ({
      action: text(alarm, "action"),
      description: text(alarm, "description"),
      trigger: text(alarm, "trigger").toSeconds(),
    })),
  };
};

const calendar = new ICAL.Component(ICAL.parse(readFileSync(0, "utf8")));
console.log(JSON.stringify({
  name: text(calendar, "name"),
  description: text(calendar, "description"),
  color: text(calendar, "color"),
  method: text(calendar, "method"),
  events: calendar.getAllSubcomponents("vevent").map(told),
}));
