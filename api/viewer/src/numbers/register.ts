import { register } from '../views'
import { NumbersView } from './view'

register({ id: 'numbers', title: 'Numbers', component: NumbersView, order: 50, wide: true })
