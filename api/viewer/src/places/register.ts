import { register } from '../views'

register({ id: 'places', title: 'Places', load: () => import('./view').then((m) => m.PlacesView), order: 30 })
