package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"pondwright/calc/air"
	"pondwright/calc/mast"
	"pondwright/calc/plume"
	"pondwright/calc/sound"
	"pondwright/calc/sun"
	"pondwright/calc/treat"
	"pondwright/calc/unit"
	"pondwright/calc/water"
	"pondwright/calc/wind"
)

// roomSettings are the settings of one package of calc.
type roomSettings struct {
	name string
	list []unit.Setting
}

func calcSettings() []roomSettings {
	return []roomSettings{
		{"water", water.Defaults()}, {"plume", plume.Defaults()}, {"air", air.Defaults()}, {"sun", sun.Settings()},
		{"wind", wind.Settings()}, {"mast", mast.Settings()}, {"treat", treat.Settings()}, {"sound", sound.Settings()},
	}
}

// listedSetting is a setting and the package it stands in.
type listedSetting struct {
	Of      string    `json:"of"`
	Name    string    `json:"name"`
	Default float64   `json:"default"`
	Unit    string    `json:"unit"` // SI; 1 for a plain number
	Mark    unit.Mark `json:"mark"`
	Source  string    `json:"source"`
}

// calcSettingsCommand lists the figures that nobody read in a source.
func (m *Main) calcSettingsCommand(asJSON *bool) *cobra.Command {
	var names []string
	for _, room := range calcSettings() {
		names = append(names, room.name)
	}
	var all bool
	c := &cobra.Command{
		GroupID:   aboutGroup,
		Use:       "settings [" + strings.Join(names, "|") + "]",
		Short:     "Figures known only from memory, by practice or by judgement",
		Example:   "  pondwright calc settings plume",
		Args:      cobra.MatchAll(cobra.MaximumNArgs(1), cobra.OnlyValidArgs),
		ValidArgs: names,
	}
	c.Flags().BoolVar(&all, "all", false, "list the published ones as well")
	c.RunE = func(_ *cobra.Command, args []string) error {
		return calcRun(func() error {
			list := []listedSetting{}
			for _, room := range calcSettings() {
				if len(args) > 0 && args[0] != room.name {
					continue
				}
				for _, s := range room.list {
					if s.Mark == unit.Published && !all {
						continue
					}
					list = append(list, listedSetting{room.name, s.Name, s.Value, s.Unit, s.Mark, s.Source})
				}
			}
			if *asJSON {
				return writeIndented(m.Out, object{{"settings", list}})
			}
			m.printSettings(list)
			return nil
		})(nil, nil)
	}
	return c
}

func (m *Main) printSettings(list []listedSetting) {
	room := ""
	for _, s := range list {
		if s.Of != room {
			room = s.Of
			fmt.Fprintln(m.Out, room)
		}
		amount := strings.TrimSuffix(figures(s.Default)+" "+s.Unit, " 1")
		fmt.Fprintf(m.Out, "  %-84s %-16s %s\n", s.Name, amount, strings.TrimSuffix(string(s.Mark)+": "+s.Source, ": "))
	}
}
