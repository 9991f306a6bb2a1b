package exchange

import (
	"errors"
	"fmt"

	"google.golang.org/protobuf/encoding/protowire"
)

// ErrPick says that a choice among the sides of a conflict names none of them.
var ErrPick = errors.New("a side must be picked for every conflict")

// Pick returns the fact with the value of the picked side in each conflict, in the
// order of Conflicts, and whether what was picked is that the thing is no more. What
// no one disputes stays as it is. A version with this body and all heads as parents
// settles the record.
func (m *Merged) Pick(sides []int) (body []byte, deleted bool, err error) {
	if len(sides) != len(m.Conflicts) {
		return nil, false, fmt.Errorf("%w: %d picked, %d conflicts", ErrPick, len(sides), len(m.Conflicts))
	}
	body = append([]byte(nil), m.Body...)
	for i, c := range m.Conflicts {
		if sides[i] < 0 || sides[i] >= len(c.Sides) {
			return nil, false, fmt.Errorf("%w: %d of %d sides", ErrPick, sides[i]+1, len(c.Sides))
		}
		side := c.Sides[sides[i]]
		switch {
		case c.Field != whole:
			if body, err = replace(body, c.Field, side.Value); err != nil {
				return nil, false, fmt.Errorf("%w: %w", ErrRecord, err)
			}
		case side.Version.Deleted:
			deleted = true
		case !RuleOf(m.Kind).ByField:
			body = append([]byte(nil), side.Value...)
		}
	}
	return body, deleted, nil
}

// replace puts a field's bytes, which are its tags and values, in the place of what a
// marshaled message holds of it.
func replace(message []byte, field protowire.Number, value []byte) ([]byte, error) {
	var out []byte
	err := eachField(message, func(number protowire.Number, _ protowire.Type, _, raw []byte) error {
		if number != field {
			out = append(out, raw...)
		}
		return nil
	})
	return append(out, value...), err
}
