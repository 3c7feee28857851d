package trench_test
import ("testing";"context";"lotwright/layout/trench")
func TestX(t *testing.T){
 for seed := range uint64(2000) { lot, heads := clutteredLot(seed)
  println(seed)
  trench.Route(context.Background(), lot, heads, trench.Settings{}) }
}
