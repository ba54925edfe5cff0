import { register } from '../views'
import { PlacesView } from './view'

register({ id: 'places', title: 'Places', component: PlacesView, order: 30 })
