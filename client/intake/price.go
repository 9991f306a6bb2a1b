package intake

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Price is what one unit of an item costs, in the list's own money.
type Price struct {
	Item string // one of PriceItems
	Unit string // that in which a plan counts the item
	Each float64
	Line int
}

// Prices is a person's own price list.
type Prices struct {
	Dated    string // ISO 8601 day, empty where the file does not say
	Rows     []Price
	Problems []Problem
}

// priceItems are the items a list may name, with the units in which each may be
// priced and how many of a plan's units that is.
var priceItems = []priceItem{
	{"diffuser", each}, {"hose", lengths}, {"compressor", each},
	{"panel", []priceUnit{{"W", 1}, {"kW", 1000}}}, {"battery", []priceUnit{{"Wh", 1}, {"kWh", 1000}}},
	{"windmill", each}, {"cable", lengths}, {"trench", lengths},
}

type priceItem struct {
	item  string
	units []priceUnit
}

type priceUnit struct {
	name string
	of   float64
}

var (
	each    = []priceUnit{{"each", 1}}
	lengths = []priceUnit{{"m", 1}, {"ft", metersPerFoot}, {"100 ft", 100 * metersPerFoot}}
)

// PriceItems lists the items that a price list may name, each with its units, for
// people.
func PriceItems() []string {
	var out []string
	for _, p := range priceItems {
		var units []string
		for _, u := range p.units {
			units = append(units, u.name)
		}
		out = append(out, p.item+" ("+strings.Join(units, ", ")+")")
	}
	return out
}

// ParsePrices reads a price list: a first line "dated,2026-07-31" where there is
// one, a header item,unit,price, and a row for each item. A row that cannot be used
// is a Problem and the others survive; of two prices for one item the first holds.
// It returns an *Error for a file without a header or without a usable row.
func ParsePrices(name string, data []byte) (*Prices, error) {
	if len(data) > maxPriceBytes {
		return nil, &Error{Problem{Code: CodeValueRange, File: name, Message: "the file is larger than any price list", Remedy: "give the table item,unit,price alone"}}
	}
	r := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(data), "\ufeff")))
	r.FieldsPerRecord, r.TrimLeadingSpace, r.LazyQuotes = -1, true, true
	l := priceList{file: name, out: &Prices{}}
	for {
		row, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if bad := new(csv.ParseError); errors.As(err, &bad) {
			l.tell(bad.Line, "", "the line is no row of a table: "+bad.Err.Error(), "separate item, unit and price by commas")
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		line, _ := r.FieldPos(0)
		if err := l.read(row, line); err != nil {
			return nil, err
		}
	}
	if len(l.out.Rows) > 0 {
		return l.out, nil
	}
	if len(l.out.Problems) > 0 {
		return nil, &Error{l.out.Problems[0]}
	}
	return nil, &Error{Problem{Code: CodeFileEmpty, File: name, Message: "there is no price", Remedy: "give rows of " + strings.Join(PriceItems(), ", ")}}
}

// priceList is a list being read.
type priceList struct {
	file string
	head bool // the header was met
	out  *Prices
}

func (l *priceList) tell(line int, field, message, remedy string) {
	l.out.Problems = append(l.out.Problems, Problem{Code: CodeValueInvalid, File: l.file, Line: line, Field: field, Message: message, Remedy: remedy})
}

// read takes one row. An error leaves nothing to go on with.
func (l *priceList) read(row []string, line int) error {
	for i := range row {
		row[i] = strings.TrimSpace(row[i])
	}
	if l.head {
		l.price(row, line)
		return nil
	}
	if len(row) >= 2 && strings.EqualFold(row[0], "dated") {
		l.dated(row[1], line)
		return nil
	}
	l.head = len(row) >= 3 && strings.EqualFold(row[0], "item") && strings.EqualFold(row[1], "unit") && strings.EqualFold(row[2], "price")
	if !l.head {
		return &Error{Problem{
			Code: CodeColumnMissing, File: l.file, Line: line, Message: "the columns are not item,unit,price",
			Remedy: "name them so in the first line; a line dated,2026-07-31 may stand before it",
		}}
	}
	return nil
}

// dated takes the day of the list.
func (l *priceList) dated(day string, line int) {
	if _, err := time.Parse(time.DateOnly, day); err != nil {
		l.tell(line, "dated", fmt.Sprintf("%q is no day", day), "write it as 2026-07-31")
		return
	}
	l.out.Dated = day
}

// price takes a row below the header.
func (l *priceList) price(row []string, line int) {
	p, field, message, remedy := priceOf(row)
	switch {
	case message != "":
		l.tell(line, field, message, remedy)
	case slices.ContainsFunc(l.out.Rows, func(q Price) bool { return q.Item == p.Item }):
		l.tell(line, "item", fmt.Sprintf("%q is priced twice: the first price holds", p.Item), "keep one row of it")
	default:
		p.Line = line
		l.out.Rows = append(l.out.Rows, p)
	}
}

// maxPriceBytes bounds a price list: a page of text is a few thousand.
const maxPriceBytes = 1 << 20

// priceOf reads a row, or says in which field what is wrong and what to do.
func priceOf(row []string) (p Price, field, message, remedy string) {
	if len(row) < 3 {
		return p, "", fmt.Sprintf("%d columns where item, unit and price are wanted", len(row)), "give all three"
	}
	i := slices.IndexFunc(priceItems, func(k priceItem) bool { return strings.EqualFold(k.item, row[0]) })
	if i < 0 {
		return p, "item", fmt.Sprintf("%q is no item of a plan", row[0]), "name one of " + strings.Join(PriceItems(), ", ")
	}
	k := priceItems[i]
	j := slices.IndexFunc(k.units, func(u priceUnit) bool { return strings.EqualFold(u.name, row[1]) })
	if j < 0 {
		return p, "unit", fmt.Sprintf("%q is no unit of %s", row[1], k.item), "price it by " + PriceItems()[i]
	}
	v, err := strconv.ParseFloat(row[2], 64)
	if err != nil || !(v >= 0 && v <= 1e9) {
		return p, "price", fmt.Sprintf("%q is no price", row[2]), "write a number from 0 on, without a sign of money"
	}
	return Price{Item: k.item, Unit: k.units[0].name, Each: v / k.units[j].of}, "", "", ""
}
