package plan

import (
	"cmp"
	"slices"
)

// Price is what one unit of an item costs.
type Price struct {
	Item, Unit string
	Each       float64 // in the list's own money
}

// Prices is a person's own price list. The zero list has no prices.
type Prices struct {
	Dated string // when it was made: ISO 8601 day, or empty
	List  []Price
}

// The items that a plan counts, and the unit in which it counts each.
const (
	ItemDiffuser   = "diffuser"
	ItemHose       = "hose"
	ItemCompressor = "compressor"
	ItemPanel      = "panel"
	ItemBattery    = "battery"
	ItemMill       = "windmill"
	ItemCable      = "cable"
	ItemTrench     = "trench"
)

// ItemUnits are the items a price list may name with their units, in a fixed
// order.
func ItemUnits() []Item {
	return []Item{
		{Name: ItemDiffuser, Unit: "each"}, {Name: ItemHose, Unit: "m"}, {Name: ItemCompressor, Unit: "each"}, {Name: ItemPanel, Unit: "W"},
		{Name: ItemBattery, Unit: "Wh"}, {Name: ItemMill, Unit: "each"}, {Name: ItemCable, Unit: "m"}, {Name: ItemTrench, Unit: "m"},
	}
}

// of returns the price of an item, and whether there is one.
func (p Prices) of(item string) (float64, bool) {
	i := slices.IndexFunc(p.List, func(q Price) bool { return q.Item == item })
	if i < 0 {
		return 0, false
	}
	return p.List[i].Each, true
}

// cost adds up items: nil where a price is missing, with the items that lack one.
func (p Prices) cost(items []Item) (total *float64, unpriced []string) {
	var sum float64
	for _, item := range items {
		each, ok := p.of(item.Name)
		if !ok {
			unpriced = append(unpriced, item.Name)
			continue
		}
		sum += each * item.Quantity
	}
	if len(unpriced) > 0 {
		return nil, unpriced
	}
	return &sum, nil
}

// items drops what costs nothing because there is none of it.
func items(list ...Item) []Item {
	units := ItemUnits()
	list = slices.DeleteFunc(list, func(i Item) bool { return !(i.Quantity > 0) })
	for k := range list {
		if j := slices.IndexFunc(units, func(u Item) bool { return u.Name == list[k].Name }); j >= 0 {
			list[k].Unit = cmp.Or(list[k].Unit, units[j].Unit)
		}
	}
	return list
}
