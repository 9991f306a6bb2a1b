package sheet

import (
	"bytes"
	"fmt"
	"time"

	"github.com/go-pdf/fpdf"

	"pondwright/geo/draw"
)

// PDF writes pictures as the pages of one document, each at its own size. Words are
// real text, so that a reader can search them. Date is the document's; the clock is
// never asked, and the same pages give the same bytes.
func PDF(title string, date time.Time, pages []*draw.Picture) ([]byte, error) {
	f := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm"})
	f.SetCatalogSort(true)
	f.SetCreationDate(date)
	f.SetModificationDate(date)
	f.SetProducer("pondwright", true)
	f.SetTitle(title, true)
	f.SetMargins(0, 0, 0)
	f.SetAutoPageBreak(false, 0)
	f.AddUTF8FontFromBytes("go", "", draw.Face(false).Data)
	f.AddUTF8FontFromBytes("go", "B", draw.Face(true).Data)
	f.SetLineJoinStyle("round")
	for _, page := range pages {
		w := pdfPage{f}
		f.AddPageFormat("P", fpdf.SizeType{Wd: page.W, Ht: page.H})
		for _, m := range page.Marks {
			switch m := m.(type) {
			case *draw.Path:
				w.path(m)
			case *draw.Text:
				w.text(m)
			}
		}
	}
	var out bytes.Buffer
	if err := f.Output(&out); err != nil {
		return nil, fmt.Errorf("write PDF: %w", err)
	}
	return out.Bytes(), nil
}

type pdfPage struct{ *fpdf.Fpdf }

func (w pdfPage) path(m *draw.Path) {
	if m.Fill != 0 {
		r, g, b, a := m.Fill.RGBA()
		w.SetFillColor(int(r), int(g), int(b))
		w.opacity(a)
		w.trace(m)
		w.DrawPath("f*")
	}
	if m.Stroke == 0 {
		return
	}
	r, g, b, a := m.Stroke.RGBA()
	w.SetDrawColor(int(r), int(g), int(b))
	w.opacity(a)
	w.SetLineWidth(m.Width)
	w.SetDashPattern(m.Dash, 0)
	w.trace(m)
	w.DrawPath("D")
}

// trace puts the path down. Colors are set before: nothing may stand between a path
// and its painting.
func (w pdfPage) trace(m *draw.Path) {
	for _, line := range m.Lines {
		for i, q := range line {
			if i == 0 {
				w.MoveTo(q.X, q.Y)
			} else {
				w.LineTo(q.X, q.Y)
			}
		}
		if m.Closed {
			w.ClosePath()
		}
	}
}

func (w pdfPage) opacity(a uint8) { w.SetAlpha(float64(a)/255, "Normal") }

func (w pdfPage) text(m *draw.Text) {
	style := ""
	if m.Bold {
		style = "B"
	}
	words := draw.Face(m.Bold).Printable(m.Words)
	w.SetFont("go", style, 10)
	w.SetFontUnitSize(m.Size)
	r, g, b, a := m.Color.RGBA()
	w.SetTextColor(int(r), int(g), int(b))
	w.opacity(a)
	x := m.At.X - m.Align.Share()*draw.Width(words, m.Size, m.Bold)
	if m.Angle == 0 {
		w.Text(x, m.At.Y, words)
		return
	}
	w.TransformBegin()
	w.TransformRotate(m.Angle, m.At.X, m.At.Y)
	w.Text(x, m.At.Y, words)
	w.TransformEnd()
}
