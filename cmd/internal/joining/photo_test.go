package joining

import (
	"bytes"
	"errors"
	"image"
	"image/jpeg"
	"testing"

	"pondwright/client"
	"pondwright/proto/block"
	pb "pondwright/proto/pondwright/v1"
	"pondwright/server/access"
)

// TestPhoto_OnlyOfGrantedPonds: a picture of one pond is not handed out under another,
// not to a device without the pond, not to another tenant, and a reader sends none.
func TestPhoto_OnlyOfGrantedPonds(t *testing.T) {
	t.Parallel()
	o := open(t)
	full := o.join(t, tenant, crew(heron, otter))
	var file bytes.Buffer
	if err := jpeg.Encode(&file, image.NewGray(image.Rect(0, 0, 32, 32)), nil); err != nil {
		t.Fatal(err)
	}
	h, err := full.AddPhoto(t.Context(), heron, "crew", nil, file.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	if r := full.mustSync(t); r.PhotosSent != 1 {
		t.Fatalf("sent %+v", r)
	}
	reader := o.join(t, tenant, access.Grant{Role: access.Reader, Ponds: []block.ID{heron}})
	if got, err := reader.FetchPhoto(t.Context(), reader.conn, heron, h); err != nil || !bytes.Equal(got, file.Bytes()) {
		t.Errorf("a reader of the pond got %d bytes, %v", len(got), err)
	}
	for name, b := range map[string]*boat{
		"a device of another pond": o.join(t, tenant, crew(otter)),
		"another tenant":           o.join(t, "other", crew(heron)),
	} {
		if got, err := b.FetchPhoto(t.Context(), b.conn, heron, h); !errors.Is(err, client.ErrNotFound) {
			t.Errorf("%s got %d bytes, %v", name, len(got), err)
		}
		// Naming it as a picture of a pond of its own does not hand it over either.
		send, err := pb.NewPhotoServiceClient(b.conn).SendPhoto(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if err := send.Send(&pb.SendPhotoRequest{PondId: otter[:], Sha256: h[:], SizeBytes: uint32(file.Len())}); err != nil {
			t.Fatal(err)
		}
		if m, err := send.Recv(); err == nil && (m.GetComplete() || m.GetHeldBytes() > 0) {
			t.Errorf("%s is told that %v of it is there", name, m)
		}
		if err := send.CloseSend(); err != nil {
			t.Error(err)
		}
		if got, err := b.FetchPhoto(t.Context(), b.conn, otter, h); !errors.Is(err, client.ErrNotFound) {
			t.Errorf("%s got %d bytes under its own pond, %v", name, len(got), err)
		}
	}
	if got, err := full.Photo(h); err != nil || len(got) != file.Len() {
		t.Errorf("the device that took it holds %d bytes, %v", len(got), err)
	}
}
