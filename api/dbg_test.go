package api_test
import ("testing";"time")
func TestDbgSpeed(t *testing.T) {
	s := serve(t, nil)
	s.exec(t, `INSERT INTO trees (client_id, site_id, tag, species, dbh_m, height_m, geometry) SELECT 1,1,'B'||n,'Tilia cordata',0.3,12,ST_SetSRID(ST_MakePoint(25.3+(n%500)*0.00015,54.7+(n/500)*0.0001),4326) FROM generate_series(1,200000) n`)
	s.exec(t, `INSERT INTO cuts (client_id, site_id, tree_id, kind, made_year) SELECT 1,1,tree_id,'topping',2010 FROM trees WHERE tree_id % 3 = 0 AND tree_id > 2000`)
	s.exec(t, `INSERT INTO targets (client_id, site_id, kind, geometry) SELECT 1,1,CASE WHEN n%2=0 THEN 'parking' ELSE 'walkway' END, ST_MakeEnvelope(25.3+(n%200)*0.0004,54.7+(n/200)*0.0004,25.3001+(n%200)*0.0004,54.7001+(n/200)*0.0004,4326) FROM generate_series(1,20000) n`)
	s.exec(t, `ANALYZE`)
	s.run(t)
	s.exec(t, `ANALYZE`)
	for _, p := range []string{"/collections/trees/items?over=parking&cut_kinds=topping&limit=1000","/collections/trees/items?cut_kinds=stub","/collections/trees/items?over=seating&cut_kinds=stub","/collections/overlaps/items?kind=seating&bbox=25.31,54.71,25.40,54.75","/collections/overlaps/items?limit=1000","/collections/zones/items?limit=1000"} {
		for range 3 {
		b := time.Now(); r := s.get(t, p); d := time.Since(b)
		t.Log(p, r.status, len(r.body), d) }
	}
}
