package schedule

import (
	"crypto/sha256"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Calendar is what a calendar file says beside the program.
type Calendar struct {
	Lot   string    // also what keeps the events of two lots apart
	Year  int       // of the first events; they repeat every year
	Stamp time.Time // when the file was made
}

// calendarEvent is a day's program in the months that share it.
type calendarEvent struct {
	months  []time.Month
	program DayProgram
}

// WriteCalendar writes the program as iCalendar (RFC 5545): an event for each
// day's program, repeating weekly in its months. Times are local to whoever
// reads them (floating), as a controller's clock is. A plan that waters in no
// month gives a calendar without events.
func WriteCalendar(w io.Writer, c Calendar, r Result) error {
	if c.Year < 1 || c.Year > 9999 {
		return fmt.Errorf("calendar: year %d; it must lie between 1 and 9999", c.Year)
	}
	out := &contentLines{}
	out.add("BEGIN:VCALENDAR")
	out.add("VERSION:2.0")
	out.add("PRODID:-//Lotwright//schedule//EN")
	out.add("CALSCALE:GREGORIAN")
	for i, e := range calendarEvents(r) {
		c.event(out, i, e)
	}
	out.add("END:VCALENDAR")
	_, err := io.WriteString(w, out.String())
	return err
}

// calendarEvents joins the months whose days run alike, in order of their first month.
func calendarEvents(r Result) []calendarEvent {
	var events []calendarEvent
	for _, m := range r.Months {
		for _, p := range m.Program {
			i := slices.IndexFunc(events, func(e calendarEvent) bool {
				return e.program.Days == p.Days && slices.Equal(e.program.Starts, p.Starts)
			})
			if i < 0 {
				i = len(events)
				events = append(events, calendarEvent{program: p})
			}
			events[i].months = append(events[i].months, m.Month)
		}
	}
	return events
}

// event writes one event; index tells apart the events of a lot.
func (c Calendar) event(out *contentLines, index int, e calendarEvent) {
	first := e.program.Starts[0].FromMinute
	begin := e.firstDay(c.Year).Add(time.Duration(first) * time.Minute)
	out.add("BEGIN:VEVENT")
	out.add("UID:" + c.uid(index))
	out.add("DTSTAMP:" + c.Stamp.UTC().Format("20060102T150405Z"))
	out.add("DTSTART:" + begin.Format("20060102T150405"))
	out.add("DURATION:" + duration(e.program.Minutes()))
	out.add("RRULE:" + e.rule())
	out.add("SUMMARY:" + escaped(c.summary()))
	out.add("DESCRIPTION:" + escaped(e.program.text()))
	out.add("TRANSP:TRANSPARENT")
	out.add("END:VEVENT")
}

func (c Calendar) summary() string {
	if c.Lot == "" {
		return "Watering"
	}
	return "Watering, lot " + c.Lot
}

// uid is the same for the same lot and place in its program, so that a new
// version of a file replaces the old events. It is shaped as a UUID (RFC 7986).
func (c Calendar) uid(index int) string {
	h := sha256.Sum256(fmt.Appendf(nil, "lotwright schedule\x00%s\x00%d", c.Lot, index))
	h[6] = h[6]&0x0f | 0x80 // version 8: of our own making
	h[8] = h[8]&0x3f | 0x80 // variant
	return fmt.Sprintf("%x-%x-%x-%x-%x", h[0:4], h[4:6], h[6:8], h[8:10], h[10:16])
}

// firstDay is the event's first day in a year, which its rule includes.
func (e calendarEvent) firstDay(year int) time.Time {
	d := time.Date(year, e.months[0], 1, 0, 0, 0, 0, time.UTC)
	for !e.program.Days.Has(d.Weekday()) {
		d = d.AddDate(0, 0, 1)
	}
	return d
}

// rule is the recurrence: weekly on the days, in the months.
func (e calendarEvent) rule() string {
	var months, days []string
	for _, m := range e.months {
		months = append(months, number(int(m)))
	}
	for _, d := range e.program.Days.List() {
		days = append(days, strings.ToUpper(d.String()[:2]))
	}
	return "FREQ=WEEKLY;BYMONTH=" + strings.Join(months, ",") + ";BYDAY=" + strings.Join(days, ",")
}

// text lists the starts, a line each.
func (p DayProgram) text() string {
	var lines []string
	for _, s := range p.Starts {
		lines = append(lines, fmt.Sprintf("%s zone %s, %d min", clock(s.FromMinute), s.Label, s.Minutes))
	}
	return strings.Join(lines, "\n")
}

// duration writes minutes as RFC 5545 has it; a nominal day is 24 hours here.
func duration(minutes int) string {
	return fmt.Sprintf("PT%dH%dM", minutes/minutesPerHour, minutes%minutesPerHour)
}

// escaped makes a TEXT value (section 3.3.11): no controls but the escaped new
// line, and only valid UTF-8.
func escaped(text string) string {
	text = strings.Map(func(r rune) rune {
		if r != '\n' && unicode.IsControl(r) {
			return -1
		}
		return r
	}, strings.ToValidUTF8(text, "\uFFFD"))
	return strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\n", `\n`).Replace(text)
}

// maxLineOctets is the longest line, its end not counted (section 3.1).
const maxLineOctets = 75

// contentLines are lines folded and ended as section 3.1 asks.
type contentLines struct{ strings.Builder }

func (l *contentLines) add(line string) {
	for room := maxLineOctets; len(line) > room; room = maxLineOctets - 1 { // a blank begins each further line
		cut := room
		for !utf8.RuneStart(line[cut]) {
			cut--
		}
		l.WriteString(line[:cut] + "\r\n ")
		line = line[cut:]
	}
	l.WriteString(line + "\r\n")
}
